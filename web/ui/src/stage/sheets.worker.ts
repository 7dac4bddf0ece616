// Pictures of sheets are made here, aside from the page.

import { make, type Order } from './sheets';

interface Page {
  postMessage(message: unknown, transfer: Transferable[]): void;
}

// All rough pictures come before the first fine one.
const fine: { id: number; order: Order }[] = [];
let busy = false;

async function send(id: number, order: Order, rough: boolean): Promise<void> {
  const pixels = await make(order, rough);
  (self as unknown as Page).postMessage({ id, pixels, rough }, [pixels.data.buffer]);
}

async function work(): Promise<void> {
  if (busy) return;
  busy = true;
  for (let next; (next = fine.shift()); ) {
    await send(next.id, next.order, false);
    // Lets orders in that came meanwhile.
    await new Promise((resolve) => setTimeout(resolve, 0));
  }
  busy = false;
}

self.onmessage = async (event: MessageEvent<{ id: number; order: Order }>) => {
  const { id, order } = event.data;
  await send(id, order, true);
  fine.push({ id, order });
  void work();
};
