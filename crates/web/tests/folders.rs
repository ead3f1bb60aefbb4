//! A test folder sent file by file: what comes in goes out again the same, and no name or
//! size that is sent does harm.

#![expect(
    clippy::unwrap_used,
    reason = "functions of a test may panic on a broken fixture"
)]

mod common;

use axum::body::Body;
use axum::http::StatusCode;
use common::{Pages, asked, change, ended, get, read, sent};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::path::Path;

/// Files of a folder by path.
type Files = BTreeMap<String, Vec<u8>>;

const RECORD: &str = "format = 1\ntitle = \"Meadow (invented)\"\ninvented_data = true\n";

/// A small test folder of invented content: the record, a table, and two files as large as a
/// scan, which are kept in another way than texts.
fn folder() -> Files {
    let noise = |seed: u32, bytes: u32| -> Vec<u8> {
        (0..bytes)
            .map(|n| (n.wrapping_mul(2_654_435_761).wrapping_add(seed) >> 13) as u8)
            .collect()
    };
    [
        ("test.toml", RECORD.as_bytes().to_vec()),
        ("notes/place.txt", "am Bach, 8 Uhr\r\n".as_bytes().to_vec()),
        ("scans/a 1.tif", noise(1, 3 << 20)),
        ("scans/ä.tif", noise(2, (1 << 20) + 1)),
        ("empty.csv", vec![]),
    ]
    .map(|(path, bytes)| (path.to_owned(), bytes))
    .into()
}

fn listed<'a>(files: impl IntoIterator<Item = (&'a str, u64)>) -> Value {
    let files: Vec<Value> = files
        .into_iter()
        .map(|(path, size)| json!({"path": path, "size": size}))
        .collect();
    json!({"name": "meadow", "files": files})
}

async fn begun(pages: &Pages, list: &Value) -> (StatusCode, Value) {
    sent(pages, "POST", "/api/folders", list).await
}

async fn put(pages: &Pages, folder: u64, file: u64, bytes: Vec<u8>) -> (StatusCode, String) {
    let path = format!("/api/folders/{folder}/files/{file}");
    let request = change(pages, "PUT", &path, bytes, "application/octet-stream");
    read(pages.send(request).await).await
}

async fn taken_in(pages: &Pages, folder: u64) -> (StatusCode, Value) {
    let path = format!("/api/folders/{folder}/take-in");
    let request = change(pages, "POST", &path, Body::empty(), "application/json");
    let (status, text) = read(pages.send(request).await).await;
    (status, serde_json::from_str(&text).unwrap())
}

/// Sends a whole folder and waits until it is a test; gives its page.
async fn imported(pages: &Pages, files: &Files) -> String {
    let sizes = files.iter().map(|(p, b)| (p.as_str(), b.len() as u64));
    let (status, awaited) = begun(pages, &listed(sizes)).await;
    assert_eq!(status, StatusCode::CREATED, "{awaited}");
    let folder = awaited["folder"].as_u64().unwrap();
    let bytes: Vec<&Vec<u8>> = files.values().collect();
    for number in awaited["wanted"].as_array().unwrap() {
        let number = number.as_u64().unwrap();
        let (status, told) = put(pages, folder, number, bytes[number as usize].clone()).await;
        assert_eq!(status, StatusCode::OK, "{told}");
    }
    let (status, begun) = taken_in(pages, folder).await;
    assert_eq!(status, StatusCode::ACCEPTED, "{begun}");
    ended(pages, begun["next"].as_str().unwrap()).await
}

/// All files under a folder of the disk.
fn on_disk(folder: &Path) -> Files {
    fn walk(folder: &Path, within: &str, files: &mut Files) {
        for entry in std::fs::read_dir(folder).unwrap() {
            let entry = entry.unwrap();
            let path = format!("{within}{}", entry.file_name().to_str().unwrap());
            if entry.file_type().unwrap().is_dir() {
                walk(&entry.path(), &format!("{path}/"), files);
            } else {
                files.insert(path, std::fs::read(entry.path()).unwrap());
            }
        }
    }
    let mut files = Files::new();
    walk(folder, "", &mut files);
    files
}

/// What a test gives out as a bundle, unpacked.
async fn exported(pages: &Pages, test: u32) -> Files {
    let answer = pages.send(get(&format!("/tests/{test}/bundle"))).await;
    assert_eq!(answer.status(), StatusCode::OK);
    let bytes = axum::body::to_bytes(answer.into_body(), 64 << 20)
        .await
        .unwrap();
    let place = tempfile::tempdir().unwrap();
    let bundle = place.path().join("bundle.zip");
    std::fs::write(&bundle, bytes).unwrap();
    let to = place.path().join("out");
    app::folder_of_bundle(&bundle, &to, &app::Silent).unwrap();
    on_disk(&to)
}

/// Nothing of a folder that was refused or given up is left beside the notebook.
async fn nothing_is_kept(pages: &Pages) {
    let (_, tests) = asked(pages, "/api/tests").await;
    assert_eq!(tests, json!([]));
    let left: Vec<String> = on_disk(pages.folder.path())
        .into_keys()
        .filter(|path| !path.starts_with("notebook.sqlite"))
        .collect();
    assert!(left.is_empty(), "{left:?}");
    let work: Vec<String> = std::fs::read_dir(pages.folder.path())
        .unwrap()
        .filter_map(|e| e.unwrap().file_name().into_string().ok())
        .filter(|name| name.contains("work"))
        .collect();
    for folder in work {
        let entries = std::fs::read_dir(pages.folder.path().join(&folder)).unwrap();
        assert_eq!(entries.count(), 0, "{folder}");
    }
}

/// A folder with one more path is refused whole, and the path is told.
async fn refused(path: &str, why: &str) {
    let pages = Pages::new();
    let (status, told) = begun(&pages, &listed([("test.toml", 10), (path, 1)])).await;
    assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY, "{path:?}: {told}");
    let problem = told["problem"].as_str().unwrap();
    assert!(problem.contains(why), "{path:?}: {problem}");
    let begins: String = path
        .chars()
        .take_while(|c| !c.is_control())
        .take(20)
        .collect();
    assert!(problem.contains(&begins), "{path:?}: {problem}");
    nothing_is_kept(&pages).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_taken_in_is_given_out_again_the_same() {
    let pages = Pages::new();
    let files = folder();
    let next = imported(&pages, &files).await;
    assert_eq!(next, "/tests/1/exposures");
    assert_eq!(exported(&pages, 1).await, files);
    let (_, tests) = asked(&pages, "/api/tests").await;
    assert_eq!(tests[0]["title"], "Meadow (invented)");
    // The same as by the command.
    let by_command = tempfile::tempdir().unwrap();
    for (path, bytes) in &files {
        let at = by_command.path().join(path);
        std::fs::create_dir_all(at.parent().unwrap()).unwrap();
        std::fs::write(at, bytes).unwrap();
    }
    let bundle = by_command.path().join("../meadow-by-command.zip");
    app::bundle_of_folder(by_command.path(), &bundle).unwrap();
    let out = tempfile::tempdir().unwrap();
    app::folder_of_bundle(&bundle, &out.path().join("f"), &app::Silent).unwrap();
    std::fs::remove_file(bundle).unwrap();
    assert_eq!(on_disk(&out.path().join("f")), files);
}

#[tokio::test(flavor = "multi_thread")]
async fn results_and_hidden_files_are_left_out_and_named_and_a_second_copy_is_told() {
    let pages = Pages::new();
    let mut files = folder();
    imported(&pages, &files).await;
    for (path, bytes) in [
        (".DS_Store", "x"),
        (".git/config", "x"),
        (".git/objects/ab", "x"),
        ("results/report.html", "x"),
        ("results/figures/a.svg", "x"),
    ] {
        files.insert(path.to_owned(), bytes.into());
    }
    let sizes = files.iter().map(|(p, b)| (p.as_str(), b.len() as u64));
    let (_, awaited) = begun(&pages, &listed(sizes)).await;
    assert_eq!(
        awaited["left_out"],
        json!([
            ".DS_Store: hidden",
            ".git: hidden",
            "results: can be computed again"
        ])
    );
    let given_up = format!("/api/folders/{}", awaited["folder"]);
    let request = change(&pages, "DELETE", &given_up, Body::empty(), "text/plain");
    assert_eq!(pages.send(request).await.status(), StatusCode::NO_CONTENT);
    assert_eq!(imported(&pages, &files).await, "/tests/2/exposures");
    assert_eq!(exported(&pages, 2).await, folder());
    let (_, text) = pages.get("/jobs/2").await;
    for told in [
        "Test 1 has the very same files.",
        "Left out results: can be computed again.",
        "/tests/2/exposures",
    ] {
        assert!(text.contains(told), "{told}: {text}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_wrong_with_a_record_is_told_with_file_and_line() {
    let pages = Pages::new();
    let mut files = folder();
    let record = format!("{RECORD}\n[[film]]\nid = \"a\"\nspeed = 400\n");
    files.insert("test.toml".to_owned(), record.into_bytes());
    let next = imported(&pages, &files).await;
    let (_, text) = pages.get(&next).await;
    // Counted by hand: three lines, a blank one, the heading, the id, the wrong key.
    assert!(
        text.contains("Films, row 1 (a) (in the test's folder: test.toml, line 7)"),
        "{text}"
    );
    assert!(text.contains("speed"), "{text}");
    assert_eq!(
        exported(&pages, 1).await,
        files,
        "a draft is kept as it came"
    );
}

macro_rules! refused_names {
    ($($name:ident: $path:expr, $why:literal;)*) => {$(
        #[tokio::test]
        async fn $name() {
            refused($path, $why).await;
        }
    )*};
}

refused_names! {
    a_name_that_leaves_the_folder_is_refused: "../evil.csv", "leaves the folder";
    a_name_that_leaves_it_further_down_is_refused: "scans/../../evil.csv", "leaves the folder";
    an_absolute_name_is_refused: "/etc/evil.csv", "is absolute";
    a_drive_letter_is_refused: "C:/evil.csv", "drive letter";
    a_drive_letter_without_a_slash_is_refused: "c:evil.csv", "drive letter";
    a_backslash_is_refused: "..\\evil.csv", "backslash";
    a_zero_byte_is_refused: "evil\0.csv", "zero byte";
    a_line_break_is_refused: "evil\n.csv", "some disks refuse";
    an_empty_name_is_refused: "", "is empty";
    a_name_with_an_empty_part_is_refused: "scans//evil.tif", "empty part";
    a_name_of_a_device_is_refused: "scans/NUL.tif", "name of a device";
    a_name_that_ends_with_a_dot_is_refused: "scans/evil.", "ends with a dot";
    a_stream_of_a_file_is_refused: "test.txt:evil", "some disks refuse";
    a_very_long_name_is_refused: &format!("{}.tif", "x".repeat(250)), "200 bytes";
    a_very_long_path_is_refused: &"folder/".repeat(60)[..419], "400 bytes";
    a_name_that_differs_in_case_only_is_refused: "Test.TOML", "taken by another file";
    a_file_within_a_file_is_refused: "test.toml/evil.csv", "taken by another file";
    a_name_listed_twice_is_refused: "test.toml", "listed twice";
}

/// A link can't be sent: whatever is sent becomes a plain file under a number, in a folder
/// that was made for it. So a file that claims to lie behind one (`scans` sent as a file, then
/// `scans/x`) has no way to it.
#[tokio::test(flavor = "multi_thread")]
async fn what_is_sent_lies_as_plain_files_under_numbers() {
    let pages = Pages::new();
    let (_, awaited) = begun(&pages, &listed([("test.toml", 1), ("scans/evil.tif", 4)])).await;
    let folder = awaited["folder"].as_u64().unwrap();
    let (status, _) = put(&pages, folder, 1, b"evil".to_vec()).await;
    assert_eq!(status, StatusCode::OK);
    let beside: Vec<String> = on_disk(pages.folder.path())
        .into_keys()
        .filter(|path| !path.starts_with("notebook.sqlite") || path.contains('/'))
        .collect();
    assert_eq!(beside.len(), 1, "{beside:?}");
    assert!(beside[0].ends_with("/1"), "{beside:?}");
    let kind = std::fs::symlink_metadata(pages.folder.path().join(&beside[0])).unwrap();
    assert!(kind.is_file());
}

#[tokio::test]
async fn too_much_is_refused_before_any_of_it_is_sent() {
    let pages = Pages::new();
    let many: Vec<String> = (0..20_001).map(|n| format!("{n}.tif")).collect();
    let list = listed(
        many.iter()
            .map(|p| (p.as_str(), 1))
            .chain([("test.toml", 1)]),
    );
    let (status, told) = begun(&pages, &list).await;
    assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY);
    let problem = told["problem"].as_str().unwrap();
    assert!(
        problem.contains("20002 files") && problem.contains("at most 20000"),
        "{problem}"
    );
    for (list, why) in [
        (
            listed([("test.toml", 1), ("a.tif", 4 << 30)]),
            "a.tif: the file has 4294967296 bytes",
        ),
        (
            listed([("test.toml", 17 << 20)]),
            "test.toml: the file has 17825792 bytes",
        ),
        (listed([("test.toml", 1), ("a.tif", u64::MAX)]), "a.tif"),
    ] {
        let (status, told) = begun(&pages, &list).await;
        assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY, "{told}");
        assert!(told["problem"].as_str().unwrap().contains(why), "{told}");
    }
    let large: Vec<String> = (0..30).map(|n| format!("{n}.tif")).collect();
    let list = listed(
        large
            .iter()
            .map(|p| (p.as_str(), 3 << 30))
            .chain([("test.toml", 1)]),
    );
    let (status, told) = begun(&pages, &list).await;
    assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(
        told["problem"].as_str().unwrap().contains("bytes together"),
        "{told}"
    );
    nothing_is_kept(&pages).await;
}

#[tokio::test]
async fn a_folder_without_a_record_is_refused_and_one_further_down_is_named() {
    let pages = Pages::new();
    let (status, told) = begun(&pages, &listed([("a/b/test.toml", 1), ("a/x.tif", 1)])).await;
    assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY);
    let problem = told["problem"].as_str().unwrap();
    assert!(
        problem.contains("no test.toml") && problem.contains("choose the folder a/b"),
        "{problem}"
    );
    let (status, _) = begun(&pages, &listed([])).await;
    assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY);
    nothing_is_kept(&pages).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_file_of_another_size_than_was_listed_is_refused() {
    let pages = Pages::new();
    let (_, awaited) = begun(&pages, &listed([("test.toml", 4)])).await;
    let folder = awaited["folder"].as_u64().unwrap();
    let (status, told) = put(&pages, folder, 0, b"abc".to_vec()).await;
    assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(
        told.contains("test.toml: 3 bytes came, and 4 were listed"),
        "{told}"
    );
    let (status, _) = put(&pages, folder, 0, b"abcde".to_vec()).await;
    assert_eq!(status, StatusCode::PAYLOAD_TOO_LARGE);
    let (status, _) = put(&pages, folder, 1, b"abcd".to_vec()).await;
    assert_eq!(
        status,
        StatusCode::UNPROCESSABLE_ENTITY,
        "a file that nobody listed"
    );
    let (status, _) = put(&pages, folder + 1, 0, b"abcd".to_vec()).await;
    assert_eq!(status, StatusCode::NOT_FOUND, "a folder that nobody began");
    let (status, told) = taken_in(&pages, folder).await;
    assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY, "{told}");
    let request = change(
        &pages,
        "DELETE",
        &format!("/api/folders/{folder}"),
        Body::empty(),
        "text/plain",
    );
    assert_eq!(pages.send(request).await.status(), StatusCode::NO_CONTENT);
    let (status, _) = put(&pages, folder, 0, b"abcd".to_vec()).await;
    assert_eq!(status, StatusCode::NOT_FOUND, "it was given up");
    for number in [folder, u64::MAX] {
        let path = format!("/api/folders/{number}");
        let request = change(&pages, "DELETE", &path, Body::empty(), "text/plain");
        let (status, told) = read(pages.send(request).await).await;
        assert_eq!(status, StatusCode::NOT_FOUND, "{number}: {told}");
    }
    nothing_is_kept(&pages).await;
}

#[tokio::test]
async fn no_more_than_four_folders_come_in_at_once() {
    let pages = Pages::new();
    let list = listed([("test.toml", 1)]);
    for _ in 0..4 {
        assert_eq!(begun(&pages, &list).await.0, StatusCode::CREATED);
    }
    assert_eq!(
        begun(&pages, &list).await.0,
        StatusCode::UNPROCESSABLE_ENTITY
    );
    let request = change(
        &pages,
        "DELETE",
        "/api/folders/2",
        Body::empty(),
        "text/plain",
    );
    pages.send(request).await;
    assert_eq!(begun(&pages, &list).await.0, StatusCode::CREATED);
}

#[tokio::test]
async fn a_folder_is_taken_in_by_pages_of_this_run_alone() {
    let pages = Pages::new();
    let request = axum::http::Request::post("/api/folders")
        .header("host", common::HOST)
        .header("content-type", "application/json")
        .body(Body::from(listed([("test.toml", 1)]).to_string()))
        .unwrap();
    assert_eq!(pages.send(request).await.status(), StatusCode::FORBIDDEN);
}
