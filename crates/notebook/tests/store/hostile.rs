//! Bundles from a stranger: each is refused, and nothing is written anywhere.

use crate::made::{files, record};
use notebook::{BundleLimits, unpack_bundle};
use proptest::prelude::*;
use sha2::{Digest, Sha256};
use std::fs::{self, File};
use std::io::{Cursor, Write};
use std::path::Path;
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipWriter};

fn sha256(bytes: &[u8]) -> String {
    Sha256::digest(bytes)
        .iter()
        .map(|b| format!("{b:02x}"))
        .collect()
}

/// What a stranger may write: members as they like, and a list as they like.
struct Made {
    zip: ZipWriter<Cursor<Vec<u8>>>,
    list: Vec<serde_json::Value>,
}

impl Made {
    fn new() -> Self {
        Self {
            zip: ZipWriter::new(Cursor::new(vec![])),
            list: vec![],
        }
    }

    fn listed(mut self, path: &str, size: u64, sha256: &str) -> Self {
        self.list
            .push(serde_json::json!({ "path": path, "size": size, "sha256": sha256 }));
        self
    }

    fn member(mut self, name: &str, bytes: &[u8]) -> Self {
        let options = SimpleFileOptions::default().compression_method(CompressionMethod::Deflated);
        self.zip.start_file(name, options).unwrap();
        self.zip.write_all(bytes).unwrap();
        self
    }

    /// A file as our own bundles have it.
    fn file(self, path: &str, bytes: &[u8]) -> Self {
        self.listed(path, bytes.len() as u64, &sha256(bytes))
            .member(&format!("test/{path}"), bytes)
    }

    fn sound() -> Self {
        Self::new().file("test.toml", record("Sent by a stranger", "16").as_bytes())
    }

    fn bytes(self) -> Vec<u8> {
        let list = serde_json::json!({ "format": 1, "files": self.list.clone() });
        let made = self.member("bundle.json", list.to_string().as_bytes());
        made.zip.finish().unwrap().into_inner()
    }
}

/// Refuses a bundle, and checks that nothing is written but itself.
fn refused(bytes: &[u8], limits: BundleLimits) -> String {
    let around = tempfile::tempdir().unwrap();
    let place = around.path().join("place");
    fs::create_dir(&place).unwrap();
    let bundle = place.join("b.zip");
    fs::write(&bundle, bytes).unwrap();
    let error = unpack_bundle(&bundle, &place.join("unpacked"), limits, &|_, _| true)
        .expect_err("a hostile bundle is refused");
    let left: Vec<String> = files(around.path()).into_keys().collect();
    assert_eq!(left, ["place/b.zip"], "{error}");
    error.to_string()
}

fn told(bytes: &[u8], words: &str) {
    let error = refused(bytes, BundleLimits::USUAL);
    assert!(error.contains(words), "{words:?} is not in: {error}");
}

#[test]
fn a_sound_bundle_made_by_another_program_is_taken() {
    let dir = tempfile::tempdir().unwrap();
    let bundle = dir.path().join("b.zip");
    fs::write(&bundle, Made::sound().file("scans/a.tif", b"abc").bytes()).unwrap();
    let place = dir.path().join("unpacked");
    unpack_bundle(&bundle, &place, BundleLimits::USUAL, &|_, _| true).unwrap();
    assert_eq!(fs::read(place.join("scans/a.tif")).unwrap(), b"abc");
}

#[test]
fn a_name_that_leaves_its_place_or_cant_stand_on_a_disk_is_refused() {
    let names = [
        "../out.txt",
        "scans/../../out.txt",
        "/filmproof-out.txt",
        "C:/out.txt",
        "c:out.txt",
        "..\\out.txt",
        "scans\\..\\..\\out.txt",
        "a//b",
        "./a",
        "a/",
        "",
        "a\0b",
        "CON",
        "scans/nul.tif",
        "com1.txt",
        "a.",
        "a ",
        "a:b",
        "a\nb",
        ".git/config",
        "scans/.hidden",
    ];
    for name in names {
        let made = Made::sound()
            .listed(name, 1, &sha256(b"x"))
            .member("test/x", b"x");
        refused(&made.bytes(), BundleLimits::USUAL);
        // The name as the member's own, where the list is sound.
        let made = Made::sound().member(&format!("test/{name}"), b"x");
        refused(&made.bytes(), BundleLimits::USUAL);
    }
    let long = "x/".repeat(300) + "a";
    refused(
        &Made::sound().file(&long, b"x").bytes(),
        BundleLimits::USUAL,
    );
}

#[test]
fn two_names_that_one_disk_takes_for_one_are_refused() {
    told(
        &Made::sound()
            .file("Scans/A.tif", b"1")
            .file("scans/a.tif", b"2")
            .bytes(),
        "is taken by another file",
    );
    told(
        &Made::sound().file("TEST.TOML", b"x").bytes(),
        "is taken by another file",
    );
    // A file where a folder has to be.
    told(
        &Made::sound()
            .file("scans", b"1")
            .file("scans/a.tif", b"2")
            .bytes(),
        "is taken by another file",
    );
    told(
        &Made::sound()
            .file("a.csv", b"1")
            .listed("a.csv", 1, &sha256(b"1"))
            .bytes(),
        "listed twice",
    );
}

#[test]
fn two_members_of_one_name_are_refused() {
    // A writer that is honest refuses this, so the second name is mended after it.
    let mut bytes = Made::sound()
        .file("a.csv", b"1")
        .file("b.csv", b"2")
        .bytes();
    let from = b"test/b.csv";
    for start in 0..bytes.len() - from.len() {
        if bytes[start..].starts_with(from) {
            bytes[start + 5] = b'a';
        }
    }
    told(&bytes, "two members have one name");
}

#[test]
fn a_link_is_refused() {
    let mut made = Made::sound().listed("scans", 4, &sha256(b"/etc"));
    made.zip
        .add_symlink("test/scans", "/etc", SimpleFileOptions::default())
        .unwrap();
    told(&made.bytes(), "no plain file");
    let mut made = Made::sound();
    made.zip
        .add_directory("test/empty", SimpleFileOptions::default())
        .unwrap();
    told(&made.bytes(), "no plain file");
}

#[test]
fn what_is_not_listed_or_not_there_or_other_than_listed_is_refused() {
    told(
        &Made::sound().member("test/more", b"x").bytes(),
        "not listed",
    );
    told(&Made::sound().member("run.sh", b"x").bytes(), "not listed");
    told(
        &Made::sound().listed("gone.csv", 1, &sha256(b"x")).bytes(),
        "missing",
    );
    let other = Made::sound()
        .listed("a.csv", 1, &sha256(b"y"))
        .member("test/a.csv", b"x");
    told(&other.bytes(), "a.csv has other bytes");
    told(&Made::new().file("notes.txt", b"x").bytes(), "no test.toml");
    for bytes in [
        &b"no zip"[..],
        b"",
        b"PK\x05\x06\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0",
    ] {
        refused(bytes, BundleLimits::USUAL);
    }
}

#[test]
fn a_bundle_that_would_fill_the_disk_is_refused_before_a_byte_is_written() {
    // 3 MB of one byte in some 3 kB, where 1 MB is free whatever the bundle's size.
    let zeros = vec![0; 3 << 20];
    let bomb = Made::sound().file("scans/a.tif", &zeros).bytes();
    assert!(bomb.len() < 1 << 14);
    let strict = BundleLimits {
        bytes_free: 1 << 20,
        ..BundleLimits::USUAL
    };
    let error = refused(&bomb, strict);
    assert!(error.contains("bytes for a bundle of this size"), "{error}");
    // The usual limits, by what the list says.
    let large = Made::sound()
        .listed("scans/a.tif", 70 << 20, &sha256(b"x"))
        .member("test/scans/a.tif", b"x");
    told(&large.bytes(), "bytes for a bundle of this size");
    // The same, and the list says less than there is.
    let lying = Made::sound()
        .listed("scans/a.tif", 10, &sha256(&zeros))
        .member("test/scans/a.tif", &zeros);
    told(&lying.bytes(), "not listed");
    // A sum that would overflow.
    let half = u64::MAX / 2 + 1;
    let overflowing = Made::sound().listed("a", half, "").listed("b", half, "");
    told(&overflowing.bytes(), "bytes for a bundle of this size");
    let few = BundleLimits {
        files: 2,
        ..BundleLimits::USUAL
    };
    let many = Made::sound().file("a", b"").file("b", b"");
    assert!(refused(&many.bytes(), few).contains("at most 2 files"));
}

#[test]
fn a_member_that_unpacks_to_more_than_its_own_header_says_is_refused() {
    // Both headers are made to say 10 bytes; the deflated stream holds 100 000.
    let long = vec![b'x'; 100_000];
    let mut bytes = Made::sound()
        .listed("a.csv", 10, &sha256(&long[..10]))
        .member("test/a.csv", &long)
        .bytes();
    let size = 100_000_u32.to_le_bytes();
    for start in 0..bytes.len() - 4 {
        if bytes[start..start + 4] == size {
            bytes[start..start + 4].copy_from_slice(&10_u32.to_le_bytes());
        }
    }
    told(&bytes, "a.csv has other bytes");
}

#[test]
fn a_damaged_bundle_is_refused_and_never_a_panic() {
    let sound = Made::sound().file("a.csv", b"1,2,3\n").bytes();
    // Every byte turned over in turn, and every length cut to: refused, or read
    // as what it was where the byte says nothing (a date, a comment).
    let dir = tempfile::tempdir().unwrap();
    let (bundle, place) = (dir.path().join("b.zip"), dir.path().join("unpacked"));
    let try_one = |bytes: &[u8]| {
        File::create(&bundle).unwrap().write_all(bytes).unwrap();
        if unpack_bundle(&bundle, &place, BundleLimits::USUAL, &|_, _| true).is_ok() {
            assert_eq!(fs::read(place.join("a.csv")).unwrap(), b"1,2,3\n");
            fs::remove_dir_all(&place).unwrap();
        }
        assert_eq!(left(dir.path()), ["b.zip"]);
    };
    for at in 0..sound.len() {
        let mut bytes = sound.clone();
        bytes[at] ^= 0xff;
        try_one(&bytes);
        try_one(&sound[..at]);
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(300))]

    /// Bytes anywhere in a bundle put in, taken out or overwritten: refused, or what it was.
    #[test]
    fn a_bundle_that_was_tampered_with_is_refused_or_is_what_it_was(
        changes in prop::collection::vec((any::<prop::sample::Index>(), 0_usize..40, prop::collection::vec(any::<u8>(), 0..40)), 1..4)
    ) {
        let mut bytes = Made::sound().file("a.csv", b"1,2,3\n").bytes();
        for (at, out, into) in changes {
            let at = at.index(bytes.len());
            let end = (at + out).min(bytes.len());
            bytes.splice(at..end, into);
        }
        let dir = tempfile::tempdir().unwrap();
        let (bundle, place) = (dir.path().join("b.zip"), dir.path().join("unpacked"));
        fs::write(&bundle, bytes).unwrap();
        if unpack_bundle(&bundle, &place, BundleLimits::USUAL, &|_, _| true).is_ok() {
            prop_assert_eq!(fs::read(place.join("a.csv")).unwrap(), b"1,2,3\n");
            prop_assert_eq!(left(dir.path()).len(), 3);
        } else {
            prop_assert_eq!(left(dir.path()), ["b.zip"]);
        }
    }
}

fn left(dir: &Path) -> Vec<String> {
    files(dir).into_keys().collect()
}
