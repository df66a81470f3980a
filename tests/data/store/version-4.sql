-- A state file of version 4, as text: the tables as that version made them, and
-- what they held for an invented back garden in Harrowmere. Written for
-- tests/faults/store.rs; never to be changed.
CREATE TABLE alarm ( id INTEGER PRIMARY KEY, what TEXT NOT NULL CHECK (json_valid(what)), raised INTEGER NOT NULL CHECK (raised IN (0, 1)), utc_ms INTEGER NOT NULL ) STRICT;
CREATE TABLE balance ( zone INTEGER NOT NULL REFERENCES zone (id), utc_ms INTEGER NOT NULL, state TEXT NOT NULL CHECK (json_valid(state)), seen_utc_ms INTEGER NOT NULL DEFAULT 0, PRIMARY KEY (zone, utc_ms) ) STRICT, WITHOUT ROWID;
CREATE TABLE command ( id INTEGER PRIMARY KEY, start INTEGER NOT NULL REFERENCES start (id), device TEXT NOT NULL CHECK (device IN ('zone', 'master', 'pump')), zone INTEGER REFERENCES zone (id), position TEXT NOT NULL CHECK (position IN ('open', 'closed')), utc_ms INTEGER NOT NULL, moment_ms INTEGER NOT NULL, confirmed_utc_ms INTEGER, confirmed_moment_ms INTEGER ) STRICT;
CREATE TABLE former_name ( zone INTEGER NOT NULL REFERENCES zone (id), name TEXT NOT NULL, until_utc_ms INTEGER NOT NULL ) STRICT;
CREATE TABLE former_weather ( until_utc_ms INTEGER NOT NULL, start_utc_ms INTEGER NOT NULL, source TEXT NOT NULL, seen_utc_ms INTEGER NOT NULL, hour TEXT NOT NULL, PRIMARY KEY (until_utc_ms, start_utc_ms, source) ) STRICT, WITHOUT ROWID;
CREATE TABLE frozen_hour ( start_utc_ms INTEGER PRIMARY KEY, seen_utc_ms INTEGER NOT NULL, hour TEXT NOT NULL CHECK (json_valid(hour)) ) STRICT;
CREATE TABLE learned_flow ( zone INTEGER PRIMARY KEY REFERENCES zone (id), ml_per_min INTEGER NOT NULL, utc_ms INTEGER NOT NULL ) STRICT;
CREATE TABLE probe ( zone INTEGER NOT NULL REFERENCES zone (id), start_utc_ms INTEGER NOT NULL, seen_utc_ms INTEGER NOT NULL, sensor TEXT NOT NULL, content REAL NOT NULL, weight REAL NOT NULL, PRIMARY KEY (zone, start_utc_ms, seen_utc_ms) ) STRICT, WITHOUT ROWID;
CREATE TABLE record ( id INTEGER PRIMARY KEY, zone INTEGER REFERENCES zone (id), what TEXT NOT NULL CHECK (json_valid(what)), at_utc_ms INTEGER NOT NULL, written_utc_ms INTEGER NOT NULL, note TEXT NOT NULL ) STRICT;
CREATE TABLE run ( id INTEGER PRIMARY KEY, zone INTEGER NOT NULL REFERENCES zone (id), command INTEGER NOT NULL, planned_ms INTEGER NOT NULL, utc_ms INTEGER NOT NULL ) STRICT;
CREATE TABLE start ( id INTEGER PRIMARY KEY, boot TEXT NOT NULL, utc_ms INTEGER NOT NULL, moment_ms INTEGER NOT NULL ) STRICT;
CREATE TABLE watering ( id INTEGER PRIMARY KEY, run INTEGER UNIQUE, zone INTEGER NOT NULL REFERENCES zone (id), ended_utc_ms INTEGER NOT NULL, least_ms INTEGER NOT NULL, estimate_ms INTEGER NOT NULL, most_ms INTEGER NOT NULL, cause TEXT NOT NULL ) STRICT;
CREATE TABLE weather ( start_utc_ms INTEGER NOT NULL, source TEXT NOT NULL, seen_utc_ms INTEGER NOT NULL, hour TEXT NOT NULL CHECK (json_valid(hour)), PRIMARY KEY (start_utc_ms, source) ) STRICT, WITHOUT ROWID;
CREATE TABLE zone ( id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE ) STRICT;
CREATE INDEX watering_by_end ON watering (ended_utc_ms);
CREATE TRIGGER weather_replaced AFTER UPDATE ON weather WHEN old.seen_utc_ms < new.seen_utc_ms BEGIN INSERT OR REPLACE INTO former_weather (until_utc_ms, start_utc_ms, source, seen_utc_ms, hour) VALUES (new.seen_utc_ms, old.start_utc_ms, old.source, old.seen_utc_ms, old.hour); DELETE FROM former_weather WHERE until_utc_ms < new.seen_utc_ms - 1209600000; END;
INSERT INTO start VALUES(1,'boot-of-april',1712000000000,5000);
INSERT INTO zone VALUES (1,'front-lawn');
INSERT INTO zone VALUES (2,'side-strip');
INSERT INTO command VALUES (1001,1,'zone',1,'open',1712000100000,105000,1712000101000,106000);
INSERT INTO command VALUES (1002,1,'zone',1,'closed',1712000400000,405000,1712000401000,406000);
INSERT INTO command VALUES (1003,1,'zone',2,'open',1712003700000,3705000,1712003701000,3706000);
INSERT INTO run VALUES (11,1,1001,300000,1712000100000);
INSERT INTO run VALUES (12,2,1003,120000,1712003700000);
INSERT INTO watering VALUES (1,11,1,1712000401000,299000,300000,301000,'"deadline"');
INSERT INTO record VALUES (1,1,'{"kind":"emerged"}',1712010000000,1712010100000,'first green by the path');
INSERT INTO former_name VALUES (1,'front-bed',1711900000000);
INSERT INTO probe VALUES (1,1712001600000,1712005200000,'lawn-probe',0.21,0.5);
INSERT INTO balance VALUES (1,1712000000000,'{"depletion_mm":1.5}',1712000001000);
PRAGMA user_version = 4;
