export function TakeList() { return <div class="page"><h1>Takes</h1></div>; }
