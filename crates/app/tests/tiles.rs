//! Tiles of a scan: cut once, kept by the hash of the scan, shared and bounded.

#![expect(clippy::unwrap_used, reason = "a panic is the failure of a test")]

use app::{
    DEMO_DRAW, Silent, TileCache, TileRequest, TiledScan, tiles_of_scan, tiles_of_test_scan,
};
use std::fs;
use std::path::{Path, PathBuf};
use testkit::{TiffForm, demo, tiff_grey16};

fn cache(dir: &Path) -> TileCache {
    TileCache {
        dir: dir.join("cache"),
        max_bytes: 1 << 30,
    }
}

fn request(scan: PathBuf) -> TileRequest {
    TileRequest {
        scan,
        page: 0,
        tone: Some("linear".to_owned()),
        channel: None,
    }
}

/// Codes that tell their own place: 600 × 300 pixels.
fn scan(dir: &Path, name: &str, add: u16) -> (PathBuf, Vec<u16>) {
    let codes: Vec<u16> = (0..600 * 300_u32)
        .map(|i| (i % 600 + 7 * (i / 600)) as u16 + add)
        .collect();
    let path = dir.join(name);
    fs::write(&path, tiff_grey16(600, 300, &codes, TiffForm::default())).unwrap();
    (path, codes)
}

fn codes_of(tiles: &TiledScan, level: u32, column: u32, row: u32) -> Vec<u16> {
    let bytes = tiles.tile(level, column, row).unwrap().unwrap();
    bytes
        .chunks_exact(2)
        .map(|b| u16::from_le_bytes([b[0], b[1]]))
        .collect()
}

fn kept(cache: &TileCache) -> Vec<String> {
    let mut names: Vec<String> = fs::read_dir(&cache.dir)
        .unwrap()
        .map(|e| e.unwrap().file_name().to_string_lossy().into_owned())
        .collect();
    names.sort();
    names
}

#[test]
fn a_tile_holds_the_codes_of_its_place() {
    let dir = tempfile::tempdir().unwrap();
    let (path, codes) = scan(dir.path(), "scan.tif", 0);
    let tiles = tiles_of_scan(&request(path), &cache(dir.path()), &Silent).unwrap();
    assert_eq!(tiles.levels.len(), 3);
    assert_eq!((tiles.levels[0].columns, tiles.levels[0].rows), (3, 2));
    // The tile at the corner: columns 512 to 599, rows 256 to 299.
    let corner = codes_of(&tiles, 0, 2, 1);
    assert_eq!(corner.len(), 88 * 44);
    assert_eq!(corner[0], codes[256 * 600 + 512]);
    assert_eq!(corner[88 * 44 - 1], codes[299 * 600 + 599]);
    // Mean of four neighbours of a plane: code + (0 + 1 + 7 + 8)/4.
    assert_eq!(codes_of(&tiles, 1, 0, 0)[0], 4);
    assert_eq!(tiles.tile(0, 3, 0).unwrap(), None);
    assert_eq!(tiles.tile(3, 0, 0).unwrap(), None);
    assert_eq!(tiles.signal_of_code.len(), 65536);
    assert_eq!(tiles.density_of_code, None, "no tablet, no density");
}

#[test]
fn tiles_are_cut_once_even_by_many_at_once_and_again_when_damaged() {
    let dir = tempfile::tempdir().unwrap();
    let (path, codes) = scan(dir.path(), "scan.tif", 0);
    let cache = cache(dir.path());
    std::thread::scope(|scope| {
        for _ in 0..8 {
            scope.spawn(|| {
                let tiles = tiles_of_scan(&request(path.clone()), &cache, &Silent).unwrap();
                assert_eq!(codes_of(&tiles, 0, 1, 1)[0], codes[256 * 600 + 256]);
            });
        }
    });
    let names = kept(&cache);
    assert_eq!(names.len(), 1, "{names:?}");
    let file = cache.dir.join(&names[0]);
    // What was cut short, by whatever, is cut anew.
    let whole = fs::read(&file).unwrap();
    fs::write(&file, &whole[..whole.len() - 2]).unwrap();
    let tiles = tiles_of_scan(&request(path.clone()), &cache, &Silent).unwrap();
    assert_eq!(codes_of(&tiles, 0, 2, 1)[0], codes[256 * 600 + 512]);
    assert_eq!(fs::read(&file).unwrap(), whole);
    // Another picture under the same name has tiles of its own.
    let (path, codes) = scan(dir.path(), "scan.tif", 1000);
    let tiles = tiles_of_scan(&request(path), &cache, &Silent).unwrap();
    assert_eq!(codes_of(&tiles, 0, 0, 0)[0], codes[0]);
    assert_eq!(kept(&cache).len(), 2);
}

#[test]
fn the_cache_is_bounded_and_loses_what_was_looked_at_longest_ago() {
    let dir = tempfile::tempdir().unwrap();
    let mut cache = cache(dir.path());
    // One scan has 600·300 + 300·150 + 150·75 pixels of two bytes: 472 524 with the head.
    cache.max_bytes = 2 * 472_524;
    let open = |n: u16| {
        let (path, _) = scan(dir.path(), &format!("{n}.tif"), n);
        // Times of files are told apart by more than their grain.
        std::thread::sleep(std::time::Duration::from_millis(20));
        tiles_of_scan(&request(path), &cache, &Silent).unwrap()
    };
    let first = open(1);
    let second = open(2);
    drop(open(1));
    let third = open(3);
    let names = kept(&cache);
    assert_eq!(names.len(), 2, "{names:?}");
    for (tiles, stays) in [(&first, true), (&second, false), (&third, true)] {
        assert_eq!(names.iter().any(|n| n.starts_with(&tiles.sha256)), stays);
    }
    // A bound below one scan keeps that one, so that it can be looked at.
    cache.max_bytes = 1;
    let (path, codes) = scan(dir.path(), "4.tif", 4);
    let tiles = tiles_of_scan(&request(path), &cache, &Silent).unwrap();
    assert_eq!(codes_of(&tiles, 0, 0, 0)[0], codes[0]);
    assert_eq!(kept(&cache).len(), 1);
}

#[test]
fn a_damaged_scan_leaves_no_tiles_behind() {
    let dir = tempfile::tempdir().unwrap();
    let (path, _) = scan(dir.path(), "scan.tif", 0);
    let bytes = fs::read(&path).unwrap();
    // Header and directory stand before the picture, or behind: cut in the middle
    // and mend nothing, so that either opening or reading must fail.
    fs::write(&path, &bytes[..bytes.len() / 2]).unwrap();
    let cache = cache(dir.path());
    let error = tiles_of_scan(&request(path), &cache, &Silent).unwrap_err();
    assert!(error.problem.contains("scan.tif"), "{error}");
    assert!(!cache.dir.exists() || kept(&cache).is_empty());
}

#[test]
fn a_tablet_of_the_test_gives_codes_their_densities() {
    let dir = tempfile::tempdir().unwrap();
    let demo = demo(DEMO_DRAW);
    let folder = dir.path().join("test");
    notebook::write_test_folder(&demo.parts, &demo.files, &folder).unwrap();
    let scan = demo.parts.scans[0].id.as_str();
    let tiles = tiles_of_test_scan(&folder, scan, &cache(dir.path()), &Silent).unwrap();
    let densities = tiles.density_of_code.unwrap();
    assert_eq!(densities.len(), usize::from(tiles.code_max) + 1);
    // More light, less density; held at the tablet's ends.
    assert!(densities.windows(2).all(|w| w[1] <= w[0]));
    assert!(
        densities[0] > 2.0 && densities[65535] < 0.3,
        "{} {}",
        densities[0],
        densities[65535]
    );
    let error = tiles_of_test_scan(&folder, "none", &cache(dir.path()), &Silent).unwrap_err();
    assert!(error.remedy.contains(scan), "{error}");
}
