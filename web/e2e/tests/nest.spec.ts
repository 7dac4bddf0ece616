// The yardstick itself, on figures worked out by hand.

import { expect, test } from '@playwright/test';
import { common, onSheet, type Point } from '../nest.ts';

test('common area', () => {
  const square: Point[] = [[0, 0], [10, 0], [10, 10], [0, 10]];
  const u: Point[] = [[0, 0], [10, 0], [10, 10], [8, 10], [8, 2], [2, 2], [2, 10], [0, 10]];
  expect(common(square, { x: 5, y: 5, w: 10, h: 10 })).toBeCloseTo(25, 9);
  expect(common(square, { x: 10, y: 0, w: 5, h: 5 })).toBeCloseTo(0, 9);
  expect(common(square, { x: -5, y: -5, w: 50, h: 50 })).toBeCloseTo(100, 9);
  // Across both arms of the U, and within its opening.
  expect(common(u, { x: 0, y: 5, w: 10, h: 2 })).toBeCloseTo(8, 9);
  expect(common(u, { x: 3, y: 5, w: 4, h: 2 })).toBeCloseTo(0, 9);
});

test('a blank with its grain across the bed is turned by a quarter on its sheet', () => {
  const nest = {
    patterns: [{ id: 'a', panel: 'b', outline: [[0, 0], [40, 0], [40, 10], [0, 10]] as Point[], x: 5, y: 7, rotation: 0 }],
    panels: [{ id: 'b', sheet: 's', sheet_x: 100, sheet_y: 200, width_mm: 60, height_mm: 30, grain: 0 }],
    sheets: [{ id: 's', width_mm: 600, length_mm: 2400 }],
  };
  // Its X axis runs along the sheet: 40 along, 10 across, 7 from the blank's
  // lower edge, which is the sheet's right-hand side there.
  const loop = onSheet(nest, 's').get('a')!;
  const xs = loop.map((p) => p[0]);
  const ys = loop.map((p) => p[1]);
  expect(Math.min(...xs)).toBeCloseTo(100 + 30 - 17, 9);
  expect(Math.max(...xs)).toBeCloseTo(100 + 30 - 7, 9);
  expect(Math.min(...ys)).toBeCloseTo(205, 9);
  expect(Math.max(...ys)).toBeCloseTo(245, 9);
});
