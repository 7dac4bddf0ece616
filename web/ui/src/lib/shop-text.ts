// The text of the shop file is written as that of the piece is: saved after a
// pause, kept in the browser until the server has it, put together with what
// others wrote. Its undo is the piece's, which covers the shop.

import * as api from './api';
import type { Piece, Shop } from './types';
import { Writes, type Server, type Store, type Told } from './writes.svelte';

/** The shop file of a piece, as something that is written in. */
export function asShop(piece: Piece): Piece {
  return { ...piece, file: piece.shop, text: piece.shopText, version: piece.shopVersion };
}

export type ShopServer = Pick<typeof api, 'saveShop' | 'undo' | 'redo'>;

/** Writes of the shop file of a piece. */
export function shopWrites(piece: Piece, place: string, told: Told, calls: ShopServer = api, store?: Store | null): Writes {
  const withText = (s: Shop): Piece => ({ ...asShop(piece), text: s.text, version: s.version });
  const never = () => Promise.reject(new Error('this is done to the piece, not to its shop'));
  const server: Server = {
    save: async (file, text, base) => {
      try {
        return withText(await calls.saveShop(file, text, base));
      } catch (err) {
        if (err instanceof api.ShopConflict) throw new api.Conflict(err.message, withText(err.current));
        throw err;
      }
    },
    undo: async () => asShop(await calls.undo(piece.file)),
    redo: async () => asShop(await calls.redo(piece.file)),
    change: never,
    saveMarks: never,
  };
  return store === undefined ? new Writes(asShop(piece), place, told, server) : new Writes(asShop(piece), place, told, server, store);
}
