-- A store as the first schema made it, with two log entries, a forecast and an answer.
-- It is opened by every later Closein; never edit it.
PRAGMA application_id = 1131170158;
BEGIN TRANSACTION;
CREATE TABLE alembic_version (
	version_num VARCHAR(32) NOT NULL, 
	CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num)
);
INSERT INTO "alembic_version" VALUES('0001');
CREATE TABLE blobs (identity TEXT NOT NULL PRIMARY KEY, size INTEGER NOT NULL, packed BLOB NOT NULL) STRICT;
INSERT INTO "blobs" VALUES('59f0db478528b4c446cfaf3d5b8a358dc500a6d97b29a215ee8c216a2f7174e2',8,X'789C4BCB2F4A4D4E2C2E01000EEF0358');
INSERT INTO "blobs" VALUES('17a8d5e29330a8d6dfae51157d1ef31cd9673677dcc6b35ec0f80afd1133d0e9',13,X'789CAB564A4ECCC951B2524ACF57AA05001DB9042D');
INSERT INTO "blobs" VALUES('5e8c9902207afaeb7120430c585a445f21e92932081d64bc99f80e4925bcb002',3,X'789CCBCA4F02000281013C');
CREATE TABLE records ( job TEXT NOT NULL, stream TEXT NOT NULL, seq INTEGER NOT NULL CHECK (seq > 0), at TEXT NOT NULL, entered_at TEXT NOT NULL, kind TEXT NOT NULL, body TEXT NOT NULL, previous TEXT NOT NULL, hash TEXT NOT NULL, PRIMARY KEY (job, stream, seq)) STRICT;
INSERT INTO "records" VALUES('lift','log',1,'2026-11-10T17:00:00.000000+00:00','2026-11-10T17:00:00.000000+00:00','note','{"at":{"$moment":"2026-11-10T17:00:00+00:00"},"cause":"","entered_at":{"$moment":"2026-11-10T17:00:00+00:00"},"fact":null,"hours":null,"kind":"note","payload":{},"reading":null,"seq":1,"task":"","text":"first","who":""}','0000000000000000000000000000000000000000000000000000000000000000','4c770057485c9686fcfe5cc7f9bb6af15eaa090c428d8509dc9ecdcdab7173ca');
INSERT INTO "records" VALUES('lift','log',2,'2026-11-10T17:00:00.000000+00:00','2026-11-10T17:00:00.000000+00:00','reading','{"at":{"$moment":"2026-11-10T17:00:00+00:00"},"cause":"","entered_at":{"$moment":"2026-11-10T17:00:00+00:00"},"fact":null,"hours":null,"kind":"reading","payload":{},"reading":{"at":{"$moment":"2026-11-10T17:00:00+00:00"},"end":null,"place":"","quantity":"air_temperature","since":null,"start":null,"taken_as":"value","unit":"degF","value":35.5},"seq":2,"task":"","text":"second","who":""}','4c770057485c9686fcfe5cc7f9bb6af15eaa090c428d8509dc9ecdcdab7173ca','3c782b45ddc9da40eb3ad6ae0b9425bfb96fe621b53237df002fff63544b3e80');
INSERT INTO "records" VALUES('lift','forecast',1,'2026-11-10T17:00:00.000000+00:00','2026-11-10T17:00:00.000000+00:00','weather','{"identity":"59f0db478528b4c446cfaf3d5b8a358dc500a6d97b29a215ee8c216a2f7174e2","says":true,"source":"nws"}','0000000000000000000000000000000000000000000000000000000000000000','1460044f0d75e09be45c53925e3c0484658d29653f1ec04cc550d3e7dea8a393');
INSERT INTO "records" VALUES('lift','decision',1,'2026-11-10T17:00:00.000000+00:00','2026-11-10T17:00:00.000000+00:00','today','{"answer":"17a8d5e29330a8d6dfae51157d1ef31cd9673677dcc6b35ec0f80afd1133d0e9","book":"","forecasts":[["weather","59f0db478528b4c446cfaf3d5b8a358dc500a6d97b29a215ee8c216a2f7174e2"]],"job_text":"5e8c9902207afaeb7120430c585a445f21e92932081d64bc99f80e4925bcb002","log_head":"3c782b45ddc9da40eb3ad6ae0b9425bfb96fe621b53237df002fff63544b3e80","log_position":2,"options":{},"seed":7,"versions":{}}','0000000000000000000000000000000000000000000000000000000000000000','9738250ab89d13e4ee1af305c7872f5728e93e7ab896d6c903660b1d3f41b0e6');
CREATE TRIGGER records_update BEFORE UPDATE ON records  BEGIN SELECT RAISE(ABORT, 'the store is append-only'); END;
CREATE TRIGGER records_delete BEFORE DELETE ON records  BEGIN SELECT RAISE(ABORT, 'the store is append-only'); END;
CREATE TRIGGER blobs_update BEFORE UPDATE ON blobs  BEGIN SELECT RAISE(ABORT, 'the store is append-only'); END;
CREATE TRIGGER blobs_delete BEFORE DELETE ON blobs  BEGIN SELECT RAISE(ABORT, 'the store is append-only'); END;
CREATE TRIGGER records_insert BEFORE INSERT ON records WHEN NEW.seq <> ifnull((SELECT max(seq) FROM records WHERE job = NEW.job AND stream = NEW.stream), 0) + 1 BEGIN SELECT RAISE(ABORT, 'the store is append-only'); END;
CREATE TRIGGER blobs_insert BEFORE INSERT ON blobs WHEN EXISTS (SELECT 1 FROM blobs WHERE identity = NEW.identity) BEGIN SELECT RAISE(ABORT, 'the store is append-only'); END;
COMMIT;
