// What swaps of cards and head leads said.
type Num = number | null;

/** What swapping cards or head leads of two tracks said, by tone. */
export interface Fault {
  tracks: [number, number];
  words: string;
  frequencies_hz: number[];
  rows: { swapped: string; before_db: Num[]; went_db: Num[]; stayed_db: Num[]; error_db: Num[] }[];
}
