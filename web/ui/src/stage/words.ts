// What things on the stage are called, for the caption at the pointer.

import { stepName } from '../lib/fixtures';
import type { Part } from './scene';

/** "walnut leaf, top/face-1": the thing, then its ID. */
export function nameOf(p: Pick<Part, 'id' | 'kind' | 'extras'>): string {
  const { member, load, veneer, sheet, joint, seam, fixture, step } = p.extras;
  switch (p.kind) {
    case 'leaf':
      return join(`${veneer ? `${veneer} ` : ''}leaf ${p.id}`, sheet && `from sheet ${sheet}`);
    case 'segment':
      return join(`segment ${p.id}`, load && `print load ${load}`);
    case 'member':
      return `member ${p.id}`;
    case 'body':
      return `core ${p.id}`;
    case 'seam':
      return `seam ${p.id}`;
    case 'fixture':
      return join(fixture ?? p.id, step && `for ${stepName(step).toLowerCase()}`);
    case 'plug':
      return join(`plug ${p.id}`, member && `of ${member}`);
    default:
      return join(p.kind, seam ? `of seam ${seam}` : joint ? `of joint ${joint}` : member && `of ${member}`);
  }
}

function join(...parts: (string | undefined | '')[]): string {
  return parts.filter(Boolean).join(', ');
}

/** By what movement is multiplied so that the greatest is seen: about a
 * twentieth of the piece, as a round number. 0 where nothing moves. */
export function exaggeration(greatest: number, size: number): number {
  if (!(greatest > 0) || !(size > 0)) return 0;
  const want = size / 20 / greatest;
  const ten = 10 ** Math.floor(Math.log10(want));
  const lead = want / ten;
  return Math.max(1, (lead >= 5 ? 5 : lead >= 2 ? 2 : 1) * ten);
}

/** A stress with as many digits as tell something: "12", "3.4", "0.08". */
export function writeStress(mpa: number): string {
  if (mpa === 0) return '0';
  return mpa >= 10 ? mpa.toFixed(0) : mpa >= 1 ? mpa.toFixed(1) : mpa.toPrecision(1);
}
