//! What the notebook's tables are, as a list of migrations.
//!
//! A migration is never edited once it has landed; the next one is added below
//! it. `user_version` counts those that were made. All that are missing are made
//! in one transaction, after a copy of the file.

/// Marks an SQLite file as a notebook: "FpNb".
pub(crate) const APPLICATION_ID: i32 = 0x4670_4e62;

/// One step from a schema to the next.
pub(crate) struct Migration {
    /// The statements.
    pub(crate) sql: &'static str,
    /// Whether the index has to be made again afterwards.
    pub(crate) index: bool,
}

/// All of them; the schema's number is how many were made.
pub(crate) const MIGRATIONS: [Migration; 2] = [
    Migration {
        sql: FILES_AND_REVISIONS,
        index: false,
    },
    Migration {
        sql: INDEX,
        index: true,
    },
];

/// Schema 1: the files of tests, and their revisions.
///
/// `content` holds bytes once, however many tests and revisions have them.
/// `place` says where they lie: within (`bytes`, deflated when that is shorter),
/// beside (a file of the folder of scans, named by its hash) or elsewhere (a
/// file that is referred to by `path`).
///
/// `restores` is the revision that an undoing went back to, so that the next undoing
/// goes back further.
///
/// `document` has a row only where a file came, changed or went (`content` is
/// then NULL): the files of revision n are, for each path, its last row up to n.
const FILES_AND_REVISIONS: &str = "
CREATE TABLE content (
    id INTEGER PRIMARY KEY,
    sha256 BLOB NOT NULL UNIQUE CHECK (length(sha256) = 32),
    size INTEGER NOT NULL CHECK (size >= 0),
    place TEXT NOT NULL CHECK (place IN ('within', 'deflated', 'beside', 'elsewhere')),
    bytes BLOB CHECK ((bytes IS NOT NULL) = (place IN ('within', 'deflated'))),
    path TEXT CHECK ((path IS NOT NULL) = (place = 'elsewhere'))
) STRICT;

CREATE TABLE test (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    revision INTEGER NOT NULL CHECK (revision >= 1),
    put_away_at TEXT
) STRICT;

CREATE TABLE revision (
    test INTEGER NOT NULL REFERENCES test (id) DEFERRABLE INITIALLY DEFERRED,
    number INTEGER NOT NULL CHECK (number >= 1),
    at TEXT NOT NULL,
    by TEXT NOT NULL,
    what TEXT NOT NULL,
    restores INTEGER,
    differences TEXT NOT NULL,
    PRIMARY KEY (test, number)
) STRICT, WITHOUT ROWID;

CREATE TABLE document (
    test INTEGER NOT NULL,
    path TEXT NOT NULL,
    revision INTEGER NOT NULL,
    content INTEGER REFERENCES content (id),
    PRIMARY KEY (test, path, revision),
    FOREIGN KEY (test, revision) REFERENCES revision (test, number) DEFERRABLE INITIALLY DEFERRED
) STRICT, WITHOUT ROWID;

CREATE INDEX document_of_content ON document (content);

CREATE TRIGGER revision_stays BEFORE UPDATE ON revision
BEGIN SELECT RAISE (ABORT, 'a revision is never changed'); END;
CREATE TRIGGER revision_is_kept BEFORE DELETE ON revision
BEGIN SELECT RAISE (ABORT, 'a revision is never removed'); END;
CREATE TRIGGER document_stays BEFORE UPDATE ON document
BEGIN SELECT RAISE (ABORT, 'a file of a revision is never changed'); END;
CREATE TRIGGER document_is_kept BEFORE DELETE ON document
BEGIN SELECT RAISE (ABORT, 'a file of a revision is never removed'); END;
CREATE TRIGGER test_is_kept BEFORE DELETE ON test
BEGIN SELECT RAISE (ABORT, 'a test is put away, never removed'); END;
CREATE TRIGGER revisions_only_grow BEFORE UPDATE OF revision ON test
WHEN NEW.revision <= OLD.revision
BEGIN SELECT RAISE (ABORT, 'the revision of a test only grows'); END;
";

/// Schema 2: the index, which is made from the records and can be made again.
///
/// `search` knows words only; `search_row` says whose they are.
const INDEX: &str = "
CREATE TABLE overview (
    test INTEGER PRIMARY KEY REFERENCES test (id),
    title TEXT NOT NULL,
    stage TEXT NOT NULL,
    changed_at TEXT NOT NULL,
    invented INTEGER NOT NULL,
    frames INTEGER NOT NULL,
    planned INTEGER NOT NULL,
    scans INTEGER NOT NULL,
    readings INTEGER NOT NULL,
    problems INTEGER NOT NULL,
    films TEXT NOT NULL,
    filters TEXT NOT NULL,
    batches TEXT NOT NULL,
    places TEXT NOT NULL
) STRICT;

CREATE TABLE film (
    test INTEGER NOT NULL REFERENCES test (id),
    id TEXT NOT NULL,
    name TEXT NOT NULL,
    format TEXT,
    box_speed REAL,
    batch TEXT,
    PRIMARY KEY (test, id)
) STRICT, WITHOUT ROWID;
CREATE INDEX film_by_name ON film (name, batch);

CREATE TABLE filter (
    test INTEGER NOT NULL REFERENCES test (id),
    id TEXT NOT NULL,
    name TEXT NOT NULL,
    marking TEXT,
    edge_nm REAL,
    PRIMARY KEY (test, id)
) STRICT, WITHOUT ROWID;
CREATE INDEX filter_by_name ON filter (name);

CREATE TABLE light (
    test INTEGER NOT NULL REFERENCES test (id),
    id TEXT NOT NULL,
    sky TEXT NOT NULL,
    place TEXT,
    time TEXT,
    PRIMARY KEY (test, id)
) STRICT, WITHOUT ROWID;

CREATE TABLE frame (
    test INTEGER NOT NULL REFERENCES test (id),
    position INTEGER NOT NULL,
    id TEXT NOT NULL,
    role TEXT NOT NULL,
    film TEXT NOT NULL,
    filters TEXT NOT NULL,
    light TEXT,
    ei REAL,
    exposed_at TEXT,
    PRIMARY KEY (test, position)
) STRICT, WITHOUT ROWID;

CREATE TABLE search_row (
    id INTEGER PRIMARY KEY,
    test INTEGER NOT NULL REFERENCES test (id),
    kind TEXT NOT NULL CHECK (kind IN ('test', 'film', 'filter', 'batch')),
    record TEXT NOT NULL,
    label TEXT NOT NULL
) STRICT;
CREATE INDEX search_row_of_test ON search_row (test);

CREATE VIRTUAL TABLE search USING fts5 (
    words, content = '', contentless_delete = 1,
    prefix = '2 3', tokenize = 'unicode61 remove_diacritics 2'
);
";
