// History comes by itself: whoever looks at a deck need not carry it.
import { History } from "./history";
import { room } from "./room";

export const ROOMS = { history: room("history", History) };
