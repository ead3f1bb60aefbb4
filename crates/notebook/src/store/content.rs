//! Bytes by their hash: each once, however often they are used.

use crate::documents::{Documents, Fingerprint, Held, is_picture};
use crate::store::error::Doing;
use crate::store::{NotebookError, NotebookFile};
use flate2::Compression;
use flate2::read::DeflateDecoder;
use flate2::write::DeflateEncoder;
use rusqlite::{Connection, OptionalExtension, params};
use sha2::{Digest, Sha256};
use std::io::{Read, Write};

/// Deflates bytes, where that makes them shorter.
fn deflated(bytes: &[u8]) -> Option<Vec<u8>> {
    let mut encoder = DeflateEncoder::new(Vec::new(), Compression::new(6));
    encoder.write_all(bytes).ok()?;
    encoder
        .finish()
        .ok()
        .filter(|short| short.len() < bytes.len())
}

/// Inflates to exactly `size` bytes.
fn inflated(bytes: &[u8], size: u64) -> Option<Vec<u8>> {
    let mut plain = Vec::new();
    DeflateDecoder::new(bytes)
        .take(size + 1)
        .read_to_end(&mut plain)
        .ok()?;
    (plain.len() as u64 == size).then_some(plain)
}

fn hash_bytes(sha256: &str) -> Option<[u8; 32]> {
    let mut hash = [0; 32];
    if sha256.len() != 64 || !sha256.is_ascii() {
        return None;
    }
    for (byte, at) in hash.iter_mut().zip((0..64).step_by(2)) {
        *byte = u8::from_str_radix(&sha256[at..at + 2], 16).ok()?;
    }
    Some(hash)
}

pub(crate) fn hash_text(hash: &[u8]) -> String {
    hash.iter().map(|byte| format!("{byte:02x}")).collect()
}

/// Finds the row of these bytes.
pub(crate) fn content_of(
    connection: &Connection,
    fingerprint: &Fingerprint,
) -> Result<Option<i64>, NotebookError> {
    let Some(hash) = hash_bytes(&fingerprint.sha256) else {
        return Ok(None);
    };
    connection
        .prepare_cached("SELECT id FROM content WHERE sha256 = ?1 AND size = ?2")
        .doing("looking for content")?
        .query_row(params![hash, fingerprint.size.cast_signed()], |row| {
            row.get(0)
        })
        .optional()
        .doing("looking for content")
}

/// Keeps a file's bytes; for a stored one its row must be there already.
pub(crate) fn keep(connection: &Connection, held: &Held) -> Result<i64, NotebookError> {
    let fingerprint = held.fingerprint();
    let Held::Bytes(bytes) = held else {
        return content_of(connection, &fingerprint)?.ok_or(NotebookError::NoScan {
            sha256: fingerprint.sha256,
        });
    };
    let short = deflated(bytes);
    let (place, kept) = match &short {
        Some(short) => ("deflated", short),
        None => ("within", bytes),
    };
    add(connection, &fingerprint, place, Some(kept), None)
}

/// Adds a row, or brings one that is there nearer: from elsewhere to beside to within.
pub(crate) fn add(
    connection: &Connection,
    fingerprint: &Fingerprint,
    place: &str,
    bytes: Option<&[u8]>,
    path: Option<&str>,
) -> Result<i64, NotebookError> {
    let hash = hash_bytes(&fingerprint.sha256).ok_or_else(|| NotebookError::NoScan {
        sha256: fingerprint.sha256.clone(),
    })?;
    connection
        .prepare_cached(
            "INSERT INTO content (sha256, size, place, bytes, path) VALUES (?1, ?2, ?3, ?4, ?5)
             ON CONFLICT (sha256) DO UPDATE
             SET place = excluded.place, bytes = excluded.bytes, path = excluded.path
             WHERE content.place = 'elsewhere'
             OR content.place = 'beside' AND excluded.bytes IS NOT NULL
             RETURNING id",
        )
        .doing("keeping content")?
        .query_row(
            params![hash, fingerprint.size.cast_signed(), place, bytes, path],
            |row| row.get(0),
        )
        .optional()
        .doing("keeping content")?
        .map_or_else(
            || {
                content_of(connection, fingerprint)?.ok_or_else(|| NotebookError::NoScan {
                    sha256: fingerprint.sha256.clone(),
                })
            },
            Ok,
        )
}

/// A file of a revision, without its bytes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Listed {
    pub(crate) path: String,
    pub(crate) content: i64,
}

/// Lists the files of a revision.
pub(crate) fn listing(
    connection: &Connection,
    test: i64,
    revision: u32,
) -> Result<Vec<Listed>, NotebookError> {
    let doing = "listing the files of a test";
    let mut statement = connection
        .prepare_cached(
            // SQLite gives `content` from the very row that has the maximum.
            "SELECT path, content, max(revision) FROM document
             WHERE test = ?1 AND revision <= ?2 GROUP BY path ORDER BY path",
        )
        .doing(doing)?;
    let rows = statement
        .query_map(params![test, revision], |row| {
            Ok((row.get(0)?, row.get::<_, Option<i64>>(1)?))
        })
        .doing(doing)?;
    let mut listed = Vec::new();
    for row in rows {
        if let (path, Some(content)) = row.doing(doing)? {
            listed.push(Listed { path, content });
        }
    }
    Ok(listed)
}

/// Reads the fingerprint of one content, and leaves its bytes where they are.
fn fingerprint(connection: &Connection, content: i64) -> Result<Fingerprint, NotebookError> {
    let doing = "reading content";
    connection
        .prepare_cached("SELECT sha256, size FROM content WHERE id = ?1")
        .doing(doing)?
        .query_row([content], |row| {
            Ok(Fingerprint {
                sha256: hash_text(&row.get::<_, Vec<u8>>(0)?),
                size: row.get::<_, i64>(1)?.cast_unsigned(),
            })
        })
        .doing(doing)
}

/// Reads one content.
pub(crate) fn held(connection: &Connection, content: i64) -> Result<Held, NotebookError> {
    let doing = "reading content";
    let (hash, size, place, bytes) = connection
        .prepare_cached("SELECT sha256, size, place, bytes FROM content WHERE id = ?1")
        .doing(doing)?
        .query_row([content], |row| {
            Ok((
                row.get::<_, Vec<u8>>(0)?,
                row.get::<_, i64>(1)?,
                row.get::<_, String>(2)?,
                row.get::<_, Option<Vec<u8>>>(3)?,
            ))
        })
        .doing(doing)?;
    let size = size.cast_unsigned();
    let damaged = || NotebookError::Damaged {
        path: connection.path().unwrap_or_default().into(),
        findings: vec![format!("content {} can't be inflated", hash_text(&hash))],
    };
    Ok(match (place.as_str(), bytes) {
        ("within", Some(bytes)) => Held::Bytes(bytes),
        ("deflated", Some(bytes)) => Held::Bytes(inflated(&bytes, size).ok_or_else(damaged)?),
        _ => Held::Stored(Fingerprint {
            sha256: hash_text(&hash),
            size,
        }),
    })
}

/// The files of a revision: texts with their bytes, pictures by their hash.
pub(crate) fn documents(
    connection: &Connection,
    test: i64,
    revision: u32,
) -> Result<Documents, NotebookError> {
    let mut documents = Documents::default();
    for listed in listing(connection, test, revision)? {
        let file = if is_picture(&listed.path) {
            Held::Stored(fingerprint(connection, listed.content)?)
        } else {
            held(connection, listed.content)?
        };
        documents.put(&listed.path, file)?;
    }
    Ok(documents)
}

impl NotebookFile {
    /// Names contents whose bytes have another hash than they were kept under.
    pub(crate) fn wrong_hashes(&self) -> Result<Vec<String>, NotebookError> {
        let doing = "checking contents";
        let mut statement = self
            .connection
            .prepare("SELECT sha256, size, place, bytes FROM content WHERE bytes IS NOT NULL")
            .doing(doing)?;
        let mut rows = statement.query([]).doing(doing)?;
        let mut wrong = Vec::new();
        while let Some(row) = rows.next().doing(doing)? {
            let hash: Vec<u8> = row.get(0).doing(doing)?;
            let size = row.get::<_, i64>(1).doing(doing)?.cast_unsigned();
            let place: String = row.get(2).doing(doing)?;
            let bytes: Vec<u8> = row.get(3).doing(doing)?;
            let plain = if place == "deflated" {
                inflated(&bytes, size)
            } else {
                Some(bytes)
            };
            let same = plain.is_some_and(|plain| Sha256::digest(&plain)[..] == hash[..]);
            if !same && wrong.len() < 10 {
                wrong.push(format!("content {} has other bytes", hash_text(&hash)));
            }
        }
        Ok(wrong)
    }
}
