// What is drawn over the notes of a take: its bars, and the rounds of the loop that it was played over.

export interface Bar {
  at: number;  // microseconds of the take
  one: boolean;
}

export interface Round {
  at: number;  // microseconds of the take
  number: number;
}
