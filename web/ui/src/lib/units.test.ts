import { describe, expect, it } from 'vitest';
import * as u from './units';

describe('reading lengths', () => {
  // 25.4 mm to the inch exactly: international yard and pound agreement, 1959.
  it.each([
    ['600 mm', 'in', 600, '600 mm'],
    ['600', 'mm', 600, '600 mm'],
    ['24', 'in', 609.6, '24 in'],
    ['24in', 'mm', 609.6, '24 in'],
    ['1 1/2 in', 'mm', 38.1, '1 1/2 in'],
    ['1-1/2"', 'mm', 38.1, '1 1/2 in'],
    ['1½ in', 'mm', 38.1, '1 1/2 in'],
    ['½"', 'mm', 12.7, '1/2 in'],
    ['3/4', 'in', 19.05, '3/4 in'],
    ['3 / 4 in', 'in', 19.05, '3/4 in'],
    ['2 ft 3 in', 'mm', 685.8, '2 ft 3 in'],
    [`2' 3 1/2"`, 'mm', 698.5, '2 ft 3 1/2 in'],
    ['5 ft', 'mm', 1524, '5 ft'],
    ['60,5 cm', 'mm', 605, '60.5 cm'],
    ['1.2 m', 'mm', 1200, '1.2 m'],
    ['.5 in', 'mm', 12.7, '0.5 in'],
    ['5. mm', 'mm', 5, '5 mm'],
    ['-3 mm', 'mm', -3, '-3 mm'],
    ['− 1 1/2 in', 'mm', -38.1, '-1 1/2 in'],
    ['  7   7/8   inches ', 'mm', 200.025, '7 7/8 in'],
    ['1⁄2 in', 'mm', 12.7, '1/2 in'], // the fraction slash, U+2044
  ] as const)('%s in a page of %s', (text, units, mm, written) => {
    const got = u.readLength(text, units);
    expect(got.value).toBeCloseTo(mm, 9);
    expect(got.written).toBe(written);
    // What is written in the file says the same, whatever the page's units.
    expect(u.readLength(got.written, units === 'mm' ? 'in' : 'mm').value).toBeCloseTo(mm, 9);
  });

  it.each([
    '', ' ', 'mm', 'wide', '5 kg', '1/0 in', '3 in 2 ft', '3 in 4 in', '1 2 3 in', '12 1/2 1/4', '1,200 mm', '1.234,5 mm',
    '1 2', '5 mm 3', '--3 mm', '3 mm -2 mm', '1e3 mm', '= 600', '0x10', 'NaN', '1/2/4 in',
  ])('refuses %j', (text) => {
    expect(() => u.readLength(text, 'mm')).toThrow(u.Unreadable);
  });

  it('says how to write it', () => {
    expect(() => u.readLength('5 kg', 'in')).toThrow('"kg" is no unit for this; write it as 1 1/2 in or 600 mm');
  });
});

describe('reading others', () => {
  it.each([
    [u.readAngle, '7', 7, '7 deg'],
    [u.readAngle, '7.5°', 7.5, '7.5 deg'],
    [u.readMass, '2.5 kg', 2500, '2.5 kg'],
    [u.readForce, '1.3 kN', 1300, '1.3 kN'],
    [u.readNumber, '4', 4, '4'],
  ] as const)('%o %s', (read, text, value, written) => {
    expect(read(text)).toEqual({ value, written });
  });

  it('takes no unit for a number', () => {
    expect(() => u.readNumber('4 mm')).toThrow(u.Unreadable);
  });
});

describe('writing lengths', () => {
  it.each([
    [540, 'mm', 32, '540 mm'],
    [17.44, 'mm', 32, '17.4 mm'],
    [17.45, 'mm', 32, '17.5 mm'],
    [0.04, 'mm', 32, '0 mm'],
    [-0.04, 'mm', 32, '0 mm'],
    [38.1, 'in', 32, '1 1/2 in'],
    [25.4, 'in', 32, '1 in'],
    [12.7, 'in', 32, '1/2 in'],
    [0, 'in', 32, '0 in'],
    [0.3, 'in', 32, '0 in'],
    [0.3, 'in', 64, '1/64 in'],
    [0.8, 'in', 32, '1/32 in'],
    [600, 'in', 32, '23 5/8 in'],
    [600, 'in', 64, '23 5/8 in'],
    [25.3, 'in', 32, '1 in'], // 31.87/32 must carry into the inch
    [-38.1, 'in', 32, '−1 1/2 in'],
    [25.4 / 64, 'in', 32, '1/32 in'], // a tie goes away from zero
    [NaN, 'in', 32, '?'],
    [Infinity, 'mm', 32, '?'],
  ] as const)('%d in %s by 1/%d', (mm, units, fraction, want) => {
    expect(u.writeLength(mm, units, fraction)).toBe(want);
  });

  it('is read back within half a fraction', () => {
    for (let mm = 0.13; mm < 3000; mm *= 1.07) {
      for (const fraction of [32, 64] as const) {
        const back = u.readLength(u.writeLength(mm, 'in', fraction), 'mm').value;
        expect(Math.abs(back - mm)).toBeLessThanOrEqual(25.4 / fraction / 2 + 1e-9);
      }
      expect(Math.abs(u.readLength(u.writeLength(mm, 'mm'), 'in').value - mm)).toBeLessThanOrEqual(0.05 + 1e-9);
    }
  });
});

it.each([
  [5, 'mm', 5],
  [5, 'in', 25.4 / 8],
  [25.4, 'in', 25.4],
  [1, 'in', 25.4 / 32],
  [0.1, 'in', 25.4 / 32],
  [12.7, 'in', 12.7],
] as const)('a step of %d mm in %s', (mm, units, want) => {
  expect(u.stepOf(mm, units)).toBeCloseTo(want, 9);
});

it.each([
  [29, '29 s'], [59.6, '1 min'], [3570, '1 h'], [3600 * 3 + 60 * 20, '3 h 20 min'], [86400 - 1, '1 d'], [86400 * 2 + 3600 * 4, '2 d 4 h'],
])('%d s', (s, want) => expect(u.writeTime(s)).toBe(want));

it.each([[4.26, '4.3 g'], [9.97, '10 g'], [250.4, '250 g'], [999.6, '1 kg'], [2363, '2.36 kg']])('%d g', (g, want) =>
  expect(u.writeMass(g)).toBe(want));

it('areas', () => {
  expect(u.writeArea(520_000, 'mm')).toBe('0.52 m²');
  expect(u.writeArea(144 * 25.4 * 25.4 * 3, 'in')).toBe('3 sq ft');
});

describe('rounded', () => {
  // 460 mm = 18.1102... in; an inch is 25.4 mm by definition.
  it.each([
    [460, 'in', true], [457.2, 'in', false], [25.4 * (18 + 1 / 8), 'in', false], [460, 'mm', false], [460.06, 'mm', true],
  ] as const)('%s mm in %s: %s', (mm, unit, want) => expect(u.rounded(mm, unit)).toBe(want));
});
