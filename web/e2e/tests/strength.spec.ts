// Whether it holds is asked for, and given up.

import { expect, givenUp, picture, Sheet, test } from '../workshop.ts';

test('strength is asked for and cancelled', async ({ page, server, folder, guard }) => {
  folder.bring('heron-side-table.yaml', 'shop.yaml');
  guard.allow(givenUp);
  const sheet = new Sheet(page);
  await sheet.open(server, 'Heron side table');
  await sheet.workedOut();
  await sheet.goto('Will it hold');
  await page.getByRole('button', { name: 'Work out what it bears' }).click();
  await expect(sheet.section('Will it hold')).toContainText('It is being worked out');
  await expect(page.getByRole('progressbar', { name: 'How far the plan is' })).toBeVisible();
  await picture(page, 'strength-asked');
  await page.getByRole('button', { name: 'Cancel' }).click();
  await expect(page.getByText('Given up at your wish.').first()).toBeVisible();
  await expect(page.getByRole('progressbar')).toHaveCount(0);
  // The plan itself is still there, and all goes on.
  await expect(sheet.sum('Weighs')).toContainText('kg');
  await page.getByRole('button', { name: 'Work it out' }).click();
  await sheet.workedOut();
  await sheet.measure('Height', '545');
  await sheet.saved('heron-side-table.yaml');
  await sheet.workedOut();
  await expect(sheet.section('Take it along').getByRole('link', { name: 'The whole job, as a zip' })).toBeVisible();
});
