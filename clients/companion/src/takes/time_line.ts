// What is drawn over the notes of a take: its bars, the times round its loops, and the rounds of the loop that it was played over.

export interface Bar {
  at: number;  // microseconds of the take
  one: boolean;
}

export interface Round {
  at: number;  // microseconds of the take
  number: number;
}

/** One time round a loop. */
export interface Band {
  at: number;  // microseconds of the take
  length: number;
  loop: number;     // 0: the one that explains most
  number?: number;  // which time it is, from 1
  odd: boolean;
}
