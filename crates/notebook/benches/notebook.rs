//! Notebooks of 100, 1,000 and 4,000 tests with 20 frames each: what a page asks.
//!
//! Peer: the same files in as many folders, read one by one, which is what a
//! program without an index has to do to make a list or to find a batch.

#![expect(
    clippy::unwrap_used,
    reason = "a benchmark stops at the first surprise"
)]
#![expect(clippy::print_stderr, reason = "sizes stand beside the times")]

use criterion::{Criterion, criterion_group, criterion_main};
use notebook::{Check, Documents, Held, NotebookFile, Stamp, TestId, check};
use std::fs;
use std::hint::black_box;
use std::path::Path;

const SIZES: [u32; 3] = [100, 1000, 4000];

fn stamp(number: u32) -> Stamp {
    Stamp {
        at: format!(
            "2026-{:02}-{:02}T12:30:00Z",
            1 + number % 12,
            1 + number % 28
        ),
        by: "A. Tester".to_owned(),
    }
}

/// A test of 20 frames behind two filters, with patches and readings; invented.
fn test(number: u32, aperture: u32) -> Documents {
    let (film, batch) = (number % 23, 400 + number % 310);
    let mut text = format!(
        "format = 1\ntitle = \"Test {number}: meadow and wood behind R-715\"\npurpose = \"Filter factor in sun\"\ntester = \"A. Tester\"\ninvented = true\n\n\
         [[film]]\nid = \"film\"\nname = \"Testfilm {film}\"\nformat = \"4x5 in sheet\"\nbox_speed = 400\nbatch = \"{batch}-{number}\"\n\n\
         [[filter]]\nid = \"715\"\nname = \"R-715\"\nedge = {{ wavelength_nm = 715, level = \"half_transmittance\" }}\n\n\
         [[filter]]\nid = \"r\"\nname = \"Red {}\"\n\n\
         [[light]]\nid = \"noon\"\nsky = \"clear_sun\"\nplace = \"meadow {}\"\nev100 = 14.7\n\n\
         [[process]]\nid = \"tray\"\ndeveloper = \"Developer D\"\ndilution = \"1+50\"\n",
        number % 7,
        number % 97,
    );
    let mut patches = "frame,patch,role\n".to_owned();
    let mut readings = "frame,patch,density,density_sd\n".to_owned();
    for frame in 1..=20 {
        let filter = if frame % 2 == 0 { "715" } else { "r" };
        text.push_str(&format!(
            "\n[[frame]]\nid = \"{frame}\"\nfilm = \"film\"\nfilters = [\"{filter}\"]\nprocess = \"tray\"\nrole = \"bracket\"\n\
             holder = \"{frame}A\"\nlight = \"noon\"\nei = 25\naperture_f = {aperture}\ntime_marked_s = {frame}\nremarks = \"wind, frame {frame}\"\n"
        ));
        for (patch, role) in [("card", "grey_card"), ("grass", "sunlit_foliage")] {
            patches.push_str(&format!("{frame},{patch},{role}\n"));
            readings.push_str(&format!("{frame},{patch},0.{:02},0.02\n", 30 + frame));
        }
    }
    let mut documents = Documents::default();
    for (path, text) in [
        ("test.toml", text),
        ("patches.csv", patches),
        ("readings.csv", readings),
    ] {
        documents.put(path, Held::Bytes(text.into_bytes())).unwrap();
    }
    documents
}

fn filled(dir: &Path, tests: u32) -> NotebookFile {
    let mut file = NotebookFile::open(&dir.join("n.sqlite"), Check::Quick).unwrap();
    for number in 0..tests {
        file.add_test(&test(number, 22), &stamp(number), "imported")
            .unwrap();
    }
    file
}

/// Reads every folder and looks for a batch.
fn batch_in_folders(folders: &Path, batch: &str) -> usize {
    fs::read_dir(folders)
        .unwrap()
        .filter(|folder| {
            let record = folder.as_ref().unwrap().path().join("test.toml");
            fs::read_to_string(record).unwrap().contains(batch)
        })
        .count()
}

/// Tells what tests and changes take, as a copy without free pages has it.
fn growth(file: &mut NotebookFile, dir: &Path, tests: u32) {
    let size = |file: &NotebookFile| {
        let copy = dir.join("copy.sqlite");
        file.copy_to(&copy).unwrap();
        let bytes = fs::metadata(&copy).unwrap().len();
        fs::remove_file(&copy).unwrap();
        bytes as f64 / 1000.0
    };
    let before = size(file);
    let text: u64 = test(8, 22)
        .iter()
        .map(|(_, held)| held.fingerprint().size)
        .sum();
    eprintln!(
        "{tests} tests of {:.1} kB text: {before:.0} kB in all, {:.2} kB each",
        text as f64 / 1000.0,
        before / f64::from(tests)
    );
    // What a change costs: 100 revisions, each with another aperture for 20 frames.
    for number in 0..100 {
        let revision = file.revision(TestId::new(9)).unwrap();
        file.save(
            TestId::new(9),
            revision,
            &test(8, 10 + number),
            &stamp(1),
            "mended",
        )
        .unwrap();
    }
    eprintln!(
        "{tests} tests: 100 more revisions, 20 values changed in each, {:.2} kB each",
        (size(file) - before) / 100.0
    );
}

fn pages(criterion: &mut Criterion) {
    for tests in SIZES {
        let dir = tempfile::tempdir().unwrap();
        let mut file = filled(dir.path(), tests);
        growth(&mut file, dir.path(), tests);
        let mut group = criterion.benchmark_group(format!("{tests} tests, {} frames", tests * 20));
        group.sample_size(20);
        group.bench_function("list", |b| {
            b.iter(|| assert_eq!(file.tests(false).unwrap().len(), tests as usize));
        });
        group.bench_function("open a test", |b| {
            let mut number = 0;
            b.iter(|| {
                number = number % tests + 1;
                let (_, documents) = file.documents(TestId::new(number), None).unwrap();
                assert_eq!(check(&documents).parts.frames.len(), 20);
            });
        });
        for (name, words, least) in [
            ("search, every test", "test", 100),
            ("search, one letter", "t", 100),
            ("search, two words", "testfilm 1", 4),
            ("search, one batch", "407-7", 1),
            ("search, nothing", "unheard", 0),
        ] {
            group.bench_function(name, |b| {
                b.iter(|| assert!(black_box(file.search(words, 100).unwrap()).len() >= least));
            });
        }
        let mut aperture = 22;
        let mut revision = file.revision(TestId::new(6)).unwrap();
        group.bench_function("save", |b| {
            b.iter(|| {
                aperture = if aperture == 22 { 32 } else { 22 };
                let files = test(5, aperture);
                let saved = file.save(TestId::new(6), revision, &files, &stamp(1), "mended");
                revision = saved.unwrap().revision;
            });
        });
        group.bench_function("history", |b| {
            b.iter(|| file.history(TestId::new(7)).unwrap());
        });
        group.bench_function("quick check", |b| {
            b.iter(|| file.check(Check::Quick).unwrap())
        });
        group.bench_function("full check", |b| {
            b.iter(|| file.check(Check::Full).unwrap())
        });
        group.bench_function("index again", |b| b.iter(|| file.index_again().unwrap()));
        if tests == 1000 {
            let folders = dir.path().join("folders");
            for number in 0..tests {
                let folder = folders.join(number.to_string());
                file.write_folder(&test(number, 22), &folder).unwrap();
            }
            group.bench_function("peer: one batch in folders", |b| {
                b.iter(|| assert_eq!(batch_in_folders(&folders, "407-7\""), 1));
            });
        }
        group.finish();
    }
}

criterion_group!(benches, pages);
criterion_main!(benches);
