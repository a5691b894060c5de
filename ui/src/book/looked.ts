// The track whose history is looked at, from 1.
import { signal } from "@preact/signals";

export const track = signal(1);
