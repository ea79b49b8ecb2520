-- What a person adds to a shoot and says of its clips.

CREATE TABLE paths (
	place INTEGER PRIMARY KEY, -- from 1, in the order they were added
	path  TEXT NOT NULL
);

-- What stands now. A clip of which nothing is said has no row.
CREATE TABLE words (
	clip TEXT PRIMARY KEY,
	word TEXT NOT NULL -- JSON
) WITHOUT ROWID;

-- Everything that was ever done, as a tree: a step hangs on the one it was done
-- after. To take a step back is to go to its parent; to do one again is to go
-- to the youngest child. So whoever goes back and does something else has
-- begun a branch, and the older one stays here unreached.
CREATE TABLE steps (
	id     INTEGER PRIMARY KEY AUTOINCREMENT,
	parent INTEGER REFERENCES steps (id), -- NULL: done on an untouched shoot
	clip   TEXT NOT NULL,
	label  TEXT NOT NULL,
	before TEXT, -- the clip's word, JSON; NULL: nothing was said
	after  TEXT
);
CREATE INDEX children ON steps (parent, id);

-- Documents that others lay down under a name.
CREATE TABLE kept (
	name    TEXT PRIMARY KEY,
	content BLOB NOT NULL
);

-- One row: the step that was done last and stands, and a number that grows with
-- every change of anything here.
CREATE TABLE shoot (
	only     INTEGER PRIMARY KEY CHECK (only = 1),
	here     INTEGER REFERENCES steps (id),
	revision INTEGER NOT NULL
);
INSERT INTO shoot VALUES (1, NULL, 0);
