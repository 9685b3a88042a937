export function TakePage({ take }: { take: number }) { return <div class="page"><h1>Take {take}</h1></div>; }
