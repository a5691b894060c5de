// Decks, Tapes and History: they come together, once one of them is asked for.
import { Decks } from "./decks";
import { History } from "./history";
import { room } from "./room";
import { Tapes } from "./tapes";

export const ROOMS = { decks: room("decks", Decks), tapes: room("tapes", Tapes), history: room("history", History) };
