-- +goose Up
-- Times are seconds since 1970 by the clock of the database.

-- What was asked for. args is what the handler of the kind gets. lost counts
-- the workers that were gone while they had it.
CREATE TABLE task (
	id text NOT NULL PRIMARY KEY, -- digest of program, kind and key
	program text NOT NULL,
	kind text NOT NULL,
	key text NOT NULL,
	args BLOB NOT NULL,
	asked_at REAL NOT NULL,
	lost integer NOT NULL DEFAULT 0
) STRICT;
CREATE INDEX task_asked_at ON task (asked_at);

-- What came of it. A second result of a task is refused by the primary key.
CREATE TABLE result (
	id text NOT NULL PRIMARY KEY,
	kind text NOT NULL,
	result BLOB NOT NULL,
	made_at REAL NOT NULL,
	worker text NOT NULL
) STRICT;
CREATE INDEX result_made_at ON result (made_at);

-- What was given up, until it is asked for again.
CREATE TABLE failure (
	id text NOT NULL PRIMARY KEY,
	why text NOT NULL,
	failed_at REAL NOT NULL
) STRICT;

-- Who works, each until a moment that it keeps putting off.
CREATE TABLE worker (
	name text NOT NULL PRIMARY KEY,
	queue text NOT NULL,
	kinds text NOT NULL, -- with a comma before and after each
	joined_at REAL NOT NULL,
	until REAL NOT NULL
) STRICT;
