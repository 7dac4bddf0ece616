-- Everything that is counted stands here as a ledger: an entry says what was
-- done, its movements what it did to which lot. What a lot holds, and what is
-- reserved of it, are sums of movements; triggers keep them beside the lots,
-- where constraints refuse what cannot be. Amounts are whole thousandths of the
-- item's unit, so that sums are exact. Tables are STRICT: no text in a number.

-- +goose Up

PRAGMA application_id = 1199010404; -- "Gwrd": tells a store from another program's database

CREATE TABLE item (
  n    INTEGER PRIMARY KEY,
  kind TEXT NOT NULL CHECK (kind IN ('filament', 'sheet', 'offcut', 'hardware', 'consumable')),
  id   TEXT NOT NULL CHECK (length(id) BETWEEN 1 AND 200),
  unit TEXT NOT NULL CHECK (unit IN ('g', 'piece', 'ml', 'm')),
  UNIQUE (kind, id)
) STRICT;

CREATE TABLE lot (
  n       INTEGER PRIMARY KEY,
  item    INTEGER NOT NULL REFERENCES item,
  id      TEXT NOT NULL CHECK (length(id) <= 60),
  on_hand INTEGER NOT NULL DEFAULT 0 CHECK (on_hand BETWEEN 0 AND 1000000000000),
  held    INTEGER NOT NULL DEFAULT 0 CHECK (held BETWEEN 0 AND 1000000000000),
  UNIQUE (item, id)
) STRICT;

CREATE TABLE photo (
  sha256 TEXT NOT NULL PRIMARY KEY CHECK (length(sha256) = 64),
  media  TEXT NOT NULL,
  bytes  BLOB NOT NULL
) STRICT;

-- The shape of a lot that is one piece of veneer; outlines and rectangles as
-- JSON, in mm, Y along the grain, from the corner of the outline's bounds.
CREATE TABLE piece (
  lot      INTEGER NOT NULL PRIMARY KEY REFERENCES lot,
  form     TEXT NOT NULL CHECK (form IN ('offcut', 'blank', 'sheet')),
  outline  TEXT NOT NULL CHECK (json_valid(outline)),
  reserved TEXT NOT NULL CHECK (json_valid(reserved)),
  photo    TEXT REFERENCES photo,
  cut_from INTEGER REFERENCES lot
) STRICT;

CREATE TABLE printer (
  id      TEXT NOT NULL PRIMARY KEY CHECK (length(id) BETWEEN 1 AND 60),
  name    TEXT NOT NULL DEFAULT '',
  retired INTEGER NOT NULL DEFAULT 0 CHECK (retired IN (0, 1))
) STRICT;

CREATE TABLE job (
  id       TEXT NOT NULL PRIMARY KEY CHECK (length(id) BETWEEN 1 AND 100),
  piece    TEXT NOT NULL,
  revision TEXT NOT NULL,
  state    TEXT NOT NULL CHECK (state IN ('planned', 'reserved', 'finished', 'abandoned'))
) STRICT;

CREATE TABLE load (
  job      TEXT NOT NULL REFERENCES job,
  id       TEXT NOT NULL,
  printer  TEXT NOT NULL REFERENCES printer,
  filament TEXT NOT NULL,
  seconds  REAL NOT NULL CHECK (seconds > 0),
  grams    REAL NOT NULL CHECK (grams > 0),
  PRIMARY KEY (job, id)
) STRICT;

CREATE TABLE entry (
  n      INTEGER PRIMARY KEY,
  at     TEXT NOT NULL CHECK (at GLOB '????-??-??T??:??:??.???Z'),
  kind   TEXT NOT NULL CHECK (kind IN ('add', 'adjust', 'count', 'describe', 'price', 'plan', 'reserve', 'release', 'print', 'set-aside', 'finish', 'abandon')),
  job    TEXT REFERENCES job,
  reason TEXT NOT NULL,
  key    TEXT UNIQUE,
  moves  INTEGER NOT NULL CHECK (moves >= 0) -- how many movements it has: one that has fewer is not whole
) STRICT;

CREATE TABLE movement (
  entry  INTEGER NOT NULL REFERENCES entry,
  line   INTEGER NOT NULL,
  lot    INTEGER NOT NULL REFERENCES lot,
  amount INTEGER NOT NULL CHECK (abs(amount) <= 1000000000000), -- comes to the lot
  held   INTEGER NOT NULL CHECK (abs(held) <= 1000000000000),   -- is reserved of it for the entry's job
  PRIMARY KEY (entry, line)
) STRICT;
CREATE INDEX movement_lot ON movement (lot);
CREATE INDEX entry_job ON entry (job) WHERE job IS NOT NULL;

CREATE TABLE hold (
  job  TEXT NOT NULL REFERENCES job,
  lot  INTEGER NOT NULL REFERENCES lot,
  held INTEGER NOT NULL CHECK (held >= 0),
  PRIMARY KEY (job, lot)
) STRICT;

CREATE TABLE price (
  entry    INTEGER NOT NULL PRIMARY KEY REFERENCES entry,
  item     INTEGER NOT NULL REFERENCES item,
  minor    INTEGER NOT NULL CHECK (minor BETWEEN 0 AND 1000000000),
  currency TEXT NOT NULL CHECK (currency GLOB '[A-Z][A-Z][A-Z]'),
  per      INTEGER NOT NULL CHECK (per BETWEEN 1 AND 1000000000000)
) STRICT;

CREATE TABLE run (
  entry      INTEGER NOT NULL PRIMARY KEY REFERENCES entry,
  load       TEXT NOT NULL,
  printer    TEXT NOT NULL REFERENCES printer,
  filament   TEXT NOT NULL,
  spool      INTEGER REFERENCES lot,
  est_seconds REAL NOT NULL CHECK (est_seconds > 0),
  est_grams   REAL NOT NULL CHECK (est_grams > 0),
  seconds    REAL NOT NULL CHECK (seconds > 0),
  grams      REAL NOT NULL CHECK (grams >= 0),
  failed     INTEGER NOT NULL CHECK (failed IN (0, 1))
) STRICT;

CREATE TABLE aside (
  entry INTEGER NOT NULL PRIMARY KEY REFERENCES entry,
  run   INTEGER NOT NULL UNIQUE REFERENCES run
) STRICT;

-- +goose StatementBegin
CREATE TRIGGER lot_empty BEFORE INSERT ON lot WHEN NEW.on_hand <> 0 OR NEW.held <> 0 BEGIN
  SELECT RAISE(ABORT, 'a lot begins empty: what is in it comes by movements');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER movement_whole BEFORE INSERT ON movement
WHEN (NEW.amount % 1000 <> 0 OR NEW.held % 1000 <> 0)
  AND (SELECT i.unit FROM lot l JOIN item i ON i.n = l.item WHERE l.n = NEW.lot) = 'piece' BEGIN
  SELECT RAISE(ABORT, 'pieces are counted whole');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER movement_once BEFORE INSERT ON movement
WHEN NEW.amount > 0 AND EXISTS (SELECT 1 FROM lot l JOIN item i ON i.n = l.item
  WHERE l.n = NEW.lot AND i.kind = 'offcut' AND l.on_hand + NEW.amount > 1000) BEGIN
  SELECT RAISE(ABORT, 'a piece of veneer is there once');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER movement_sum AFTER INSERT ON movement BEGIN
  UPDATE lot SET on_hand = on_hand + NEW.amount, held = held + NEW.held WHERE n = NEW.lot;
  INSERT INTO hold (job, lot, held)
    SELECT e.job, NEW.lot, 0 FROM entry e WHERE e.n = NEW.entry AND NEW.held <> 0
      AND NOT EXISTS (SELECT 1 FROM hold h WHERE h.job = e.job AND h.lot = NEW.lot);
  UPDATE hold SET held = held + NEW.held
    WHERE NEW.held <> 0 AND lot = NEW.lot AND job = (SELECT job FROM entry WHERE n = NEW.entry);
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER job_ended BEFORE UPDATE ON job WHEN OLD.state IN ('finished', 'abandoned') BEGIN
  SELECT RAISE(ABORT, 'the job has ended');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER entry_kept BEFORE UPDATE ON entry BEGIN SELECT RAISE(ABORT, 'the ledger is only added to'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER entry_left BEFORE DELETE ON entry BEGIN SELECT RAISE(ABORT, 'the ledger is only added to'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER movement_kept BEFORE UPDATE ON movement BEGIN SELECT RAISE(ABORT, 'the ledger is only added to'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER movement_left BEFORE DELETE ON movement BEGIN SELECT RAISE(ABORT, 'the ledger is only added to'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER price_kept BEFORE UPDATE ON price BEGIN SELECT RAISE(ABORT, 'the ledger is only added to'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER price_left BEFORE DELETE ON price BEGIN SELECT RAISE(ABORT, 'the ledger is only added to'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER run_kept BEFORE UPDATE ON run BEGIN SELECT RAISE(ABORT, 'the ledger is only added to'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER run_left BEFORE DELETE ON run BEGIN SELECT RAISE(ABORT, 'the ledger is only added to'); END;
-- +goose StatementEnd
