-- A shoot of form 2, as sqlite3's .dump gave it.
PRAGMA application_id = 0x45617273;
PRAGMA user_version = 2;
PRAGMA foreign_keys = OFF;
BEGIN TRANSACTION;
CREATE TABLE paths (
	place INTEGER PRIMARY KEY, -- from 1, in the order they were added
	path  TEXT NOT NULL
);
INSERT INTO paths VALUES(1,'/card/A');
INSERT INTO paths VALUES(2,'/body mic');
CREATE TABLE words (
	clip TEXT PRIMARY KEY,
	word TEXT NOT NULL -- JSON
) WITHOUT ROWID;
INSERT INTO words VALUES('c1','{"approved":true,"sound":"5f0c","line":{"offset_s":12.5,"drift_ppm":-3.25},"refused":["77aa"],"name":"Interview","note":"läuft"}');
INSERT INTO words VALUES('c2','{"approved":false,"line":null,"note":"wind"}');
CREATE TABLE steps (
	id     INTEGER PRIMARY KEY AUTOINCREMENT,
	parent INTEGER REFERENCES steps (id), -- NULL: done on an untouched shoot
	clip   TEXT NOT NULL,
	label  TEXT NOT NULL,
	before TEXT, -- the clip's word, JSON; NULL: nothing was said
	after  TEXT
, deed INTEGER REFERENCES steps (id));
INSERT INTO steps VALUES(1,NULL,'c1','approved',NULL,'{"approved":true,"sound":"5f0c","line":null}',NULL);
INSERT INTO steps VALUES(2,1,'c2','noted',NULL,'{"approved":false,"line":null,"note":"rain"}',NULL);
INSERT INTO steps VALUES(3,1,'c2','noted',NULL,'{"approved":false,"line":null,"note":"wind"}',NULL);
INSERT INTO steps VALUES(4,3,'c1','laid 1.0 ms later','{"approved":true,"sound":"5f0c","line":null}','{"approved":true,"sound":"5f0c","line":{"offset_s":12.5,"drift_ppm":-3.25},"refused":["77aa"],"name":"Interview","note":"läuft"}',NULL);
INSERT INTO steps VALUES(5,4,'c2','approved','{"approved":false,"line":null,"note":"wind"}','{"approved":true,"line":null,"note":"wind"}',NULL);
CREATE TABLE kept (
	name    TEXT PRIMARY KEY,
	content BLOB NOT NULL
);
INSERT INTO kept VALUES('measured',X'7b2274616b6573223a5b5d7d');
CREATE TABLE shoot (
	only     INTEGER PRIMARY KEY CHECK (only = 1),
	here     INTEGER REFERENCES steps (id),
	revision INTEGER NOT NULL
);
INSERT INTO shoot VALUES(1,4,9);
DELETE FROM sqlite_sequence;
INSERT INTO sqlite_sequence VALUES('steps',5);
CREATE INDEX children ON steps (parent, id);
CREATE INDEX deeds ON steps (deed);
COMMIT;
