-- What a job's plan takes from stock and what it leaves, so that it can be
-- reserved again and finished without the plan at hand.

-- +goose Up

CREATE TABLE need (
  job     TEXT NOT NULL REFERENCES job,
  line    INTEGER NOT NULL,
  kind    TEXT NOT NULL CHECK (kind IN ('filament', 'sheet', 'offcut', 'hardware', 'consumable')),
  item    TEXT NOT NULL CHECK (length(item) BETWEEN 1 AND 200),
  lot     TEXT NOT NULL,
  amount  INTEGER NOT NULL CHECK (amount BETWEEN 1 AND 1000000000000),
  unit    TEXT NOT NULL CHECK (unit IN ('', 'g', 'piece', 'ml', 'm')),
  one_lot INTEGER NOT NULL CHECK (one_lot IN (0, 1)),
  purpose TEXT NOT NULL,
  PRIMARY KEY (job, line)
) STRICT;

-- A piece of veneer that will be left; from_kind is empty if it is not known
-- what it is cut from.
CREATE TABLE leaving (
  job       TEXT NOT NULL REFERENCES job,
  line      INTEGER NOT NULL,
  veneer    TEXT NOT NULL CHECK (length(veneer) BETWEEN 1 AND 200),
  form      TEXT NOT NULL CHECK (form IN ('offcut', 'blank', 'sheet')),
  outline   TEXT NOT NULL CHECK (json_valid(outline)),
  reserved  TEXT NOT NULL CHECK (json_valid(reserved)),
  from_kind TEXT NOT NULL,
  from_item TEXT NOT NULL,
  from_lot  TEXT NOT NULL,
  PRIMARY KEY (job, line)
) STRICT;
