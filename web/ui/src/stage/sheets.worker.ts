// Pictures of sheets are made here, aside from the page.

import { make, type Order } from './sheets';

self.onmessage = async (event: MessageEvent<{ id: number; order: Order }>) => {
  const pixels = await make(event.data.order);
  (self as unknown as { postMessage(m: unknown, t: Transferable[]): void }).postMessage({ id: event.data.id, pixels }, [pixels.data.buffer]);
};
