//! Every page of a notebook that grows to 100 and 1,000 evaluated tests with 20 frames
//! each, asked of the router in this program: what the server needs for an answer.
//!
//! All tests are evaluated. Of fifty tests one is the worked example with its
//! scans; the others have twenty frames with two readings each. Each page is asked
//! of thirteen tests that lie far apart, in turn, so that nothing is warm because it was
//! asked just before; the first answer of each test counts as any other.
//!
//! Told are median and worst by the clock, and the mean time of the processors, which
//! other programs don't lengthen. A page that passes its limit by the clock ends the
//! program with an error.
//!
//! `cargo bench -p web --bench pages -- 1000 4000` takes other sizes, the smaller first.

#![expect(
    clippy::unwrap_used,
    reason = "a benchmark stops at the first surprise"
)]
#![expect(clippy::print_stdout, reason = "a benchmark tells its times")]

use app::{Check, Notebook, ScanPlace, Silent};
use axum::body::{Body, to_bytes};
use axum::extract::ConnectInfo;
use axum::http::Request;
use std::fmt::Write as _;
use std::fs;
use std::path::Path;
use std::sync::Arc;
use std::time::{Duration, Instant};
use tower::ServiceExt as _;
use web::{Connection, ServeSettings, Shared, router};

const HOST: &str = "127.0.0.1:8715";
/// Sizes of the notebook when none is named.
const SIZES: [u32; 2] = [100, 1000];
/// One test of so many is the worked example.
const EXAMPLE_OF: u32 = 50;
/// Tests of which each page is asked.
const ASKED: u32 = 13;
/// The most that a page may take, as required of 1,000 tests.
const PAGE_LIMIT: Duration = Duration::from_millis(100);
/// The most that a search may take.
const SEARCH_LIMIT: Duration = Duration::from_millis(50);

/// Density of an invented film: base+fog, toe, straight line, shoulder.
fn density(log_h: f64) -> f64 {
    0.12 + 2.3 / (1.0 + (-(log_h + 0.9) / 0.62).exp())
}

/// A test of five anchors and fifteen frames behind a filter; invented. The
/// readings follow one curve, and a scatter that differs from test to test.
fn write_test(dir: &Path, number: u32) {
    let (film, batch) = (number % 23, 400 + number % 310);
    let mut text = format!(
        "format = 1\ntitle = \"Test {number}: meadow and wood behind R-715\"\npurpose = \"Filter factor in sun\"\ntester = \"A. Tester\"\ninvented = true\n\n\
         [[film]]\nid = \"film\"\nname = \"Testfilm {film}\"\nformat = \"4x5 in sheet\"\nbox_speed = 400\nbatch = \"{batch}-{number}\"\n\n\
         [[filter]]\nid = \"715\"\nname = \"R-715\"\nedge = {{ wavelength_nm = 715, level = \"half_transmittance\" }}\n\n\
         [[light]]\nid = \"noon\"\nsky = \"clear_sun\"\nplace = \"meadow {}\"\nev100 = 14.7\n\n\
         [[process]]\nid = \"tray\"\ndeveloper = \"Developer D\"\ndilution = \"1+50\"\n",
        number % 97,
    );
    let mut patches = "frame,patch,role\n".to_owned();
    let mut readings = "frame,patch,density,density_sd\n".to_owned();
    let factor_stops = 6.5 + f64::from(number % 11) / 5.0;
    for frame in 1..=20_u32 {
        let anchor = frame <= 5;
        let step = if anchor { frame } else { frame - 5 };
        let time = if anchor {
            f64::from(1_u32 << step) / 2000.0
        } else {
            0.05 * 2.0_f64.powf(f64::from(step) / 2.0)
        };
        let filters = if anchor { "[]" } else { "[\"715\"]" };
        let role = if anchor { "anchor" } else { "bracket" };
        writeln!(
            text,
            "\n[[frame]]\nid = \"{frame}\"\nfilm = \"film\"\nfilters = {filters}\nprocess = \"tray\"\nrole = \"{role}\"\n\
             holder = \"{frame}A\"\nlight = \"noon\"\nei = 25\naperture_f = 11.314\ntime_marked_s = {time:.5}\nremarks = \"wind, frame {frame}\""
        )
        .unwrap();
        let stops = time.log2() - if anchor { 0.0 } else { factor_stops };
        for (patch, role, above) in [("card", "grey_card", 0.0), ("grass", "sunlit_foliage", 0.4)] {
            let scatter = f64::from((number * 7 + frame * 13) % 17) / 17.0 - 0.5;
            let log_h = std::f64::consts::LOG10_2 * (stops + 6.0 + above) - 0.7;
            writeln!(patches, "{frame},{patch},{role}").unwrap();
            writeln!(
                readings,
                "{frame},{patch},{:.3},0.02",
                density(log_h) + 0.03 * scatter
            )
            .unwrap();
        }
    }
    fs::create_dir_all(dir).unwrap();
    for (name, text) in [
        ("test.toml", text),
        ("patches.csv", patches),
        ("readings.csv", readings),
    ] {
        fs::write(dir.join(name), text).unwrap();
    }
}

fn example(number: u32) -> bool {
    number % EXAMPLE_OF == 1
}

/// Adds tests to a notebook that has some, up to a number, and evaluates each.
fn fill(notebook: &Path, dir: &Path, has: u32, tests: u32) {
    let kept = Notebook::open(notebook, Check::Quick).unwrap();
    for number in has + 1..=tests {
        let test = if example(number) {
            kept.add_demo("A. Tester", &Silent).unwrap()
        } else {
            let folder = dir.join(number.to_string());
            write_test(&folder, number);
            let added = kept.import_folder(&folder, ScanPlace::TakenIn, "A. Tester", &Silent);
            fs::remove_dir_all(&folder).unwrap();
            added.unwrap().test
        };
        assert_eq!(test.number(), i64::from(number));
        kept.evaluate_for_pages(test, Some("2026-06-21".to_owned()), &Silent)
            .unwrap();
    }
}

/// Time of the processors that this program has taken, all its threads together, in
/// hundredths of a second; `None` where the system does not tell it.
fn processor_time() -> Option<u64> {
    let told = fs::read_to_string("/proc/self/stat").ok()?;
    // Behind the name, which ends with the last bracket: user time and system time are
    // the 12th and 13th of the fields from there, in ticks of which Linux has 100 a second.
    let fields: Vec<&str> = told.rsplit_once(')')?.1.split_whitespace().collect();
    Some(fields.get(11)?.parse::<u64>().ok()? + fields.get(12)?.parse::<u64>().ok()?)
}

/// Times of one kind of page.
struct Times {
    page: &'static str,
    limit: Duration,
    bytes: usize,
    /// By the clock, sorted.
    clock: Vec<Duration>,
    /// Of the processors, all together. \[1/100 s\]
    processors: Option<u64>,
}

impl Times {
    fn worst(&self) -> Duration {
        self.clock.last().copied().unwrap()
    }

    /// Mean time of the processors, in words.
    fn processors(&self) -> String {
        match self.processors {
            Some(ticks) => format!("{:5.1} ms", 10.0 * ticks as f64 / self.clock.len() as f64),
            None => "not told".to_owned(),
        }
    }
}

/// Median and worst of a sorted list, in ms.
fn median_and_worst(times: &[Duration]) -> String {
    let ms = |time: Option<&Duration>| time.map_or(f64::NAN, |t| t.as_secs_f64() * 1000.0);
    format!(
        "{:7.2} {:7.2}",
        ms(times.get(times.len() / 2)),
        ms(times.last())
    )
}

/// Asks pages of the router.
struct Asker {
    shared: Arc<Shared>,
    runtime: tokio::runtime::Runtime,
}

impl Asker {
    /// Asks once; gives status, body and time.
    fn ask(&self, path: &str) -> (u16, Vec<u8>, Duration, String) {
        let mut request = Request::get(path)
            .header("host", HOST)
            .body(Body::empty())
            .unwrap();
        request.extensions_mut().insert(ConnectInfo(Connection {
            peer: "127.0.0.1:50000".parse().unwrap(),
            local: HOST.parse().unwrap(),
        }));
        let router = router(&self.shared);
        self.runtime.block_on(async move {
            let begun = Instant::now();
            let response = router.oneshot(request).await.unwrap();
            let status = response.status().as_u16();
            let to = response
                .headers()
                .get("location")
                .map(|to| to.to_str().unwrap().to_owned())
                .unwrap_or_default();
            let body = to_bytes(response.into_body(), 64 << 20).await.unwrap();
            (status, body.to_vec(), begun.elapsed(), to)
        })
    }

    /// Asks pages, all of one kind.
    fn times(&self, page: &'static str, limit: Duration, paths: &[String]) -> Times {
        let mut times = Times {
            page,
            limit,
            bytes: 0,
            clock: vec![],
            processors: None,
        };
        let before = processor_time();
        for path in paths {
            let (status, body, time, _) = self.ask(path);
            assert_eq!(status, 200, "{path}: {}", String::from_utf8_lossy(&body));
            times.bytes = times.bytes.max(body.len());
            times.clock.push(time);
        }
        times.processors = before
            .zip(processor_time())
            .map(|(before, after)| after - before);
        times.clock.sort();
        times
    }

    /// Lets long work that a page begins come to its end.
    fn prepare(&self, path: &str) {
        let (status, _, _, job) = self.ask(path);
        if status != 303 {
            return;
        }
        let state = format!("/api{job}");
        loop {
            let (_, body, _, _) = self.ask(&state);
            let body = String::from_utf8_lossy(&body).into_owned();
            if !body.contains("running") {
                assert!(body.contains("done"), "{path}: {body}");
                return;
            }
            std::thread::sleep(Duration::from_millis(20));
        }
    }
}

/// Tests that lie far apart: the worked examples, or all but those.
fn spread(tests: u32, examples: bool) -> Vec<u32> {
    let fitting: Vec<u32> = (1..=tests).filter(|n| example(*n) == examples).collect();
    let step = (fitting.len() / ASKED as usize).max(1);
    fitting
        .into_iter()
        .step_by(step)
        .take(ASKED as usize)
        .collect()
}

fn measure(dir: &Path, has: u32, tests: u32) -> Vec<Times> {
    let notebook = dir.join("n.sqlite");
    let begun = Instant::now();
    fill(&notebook, dir, has, tests);
    println!(
        "\n{tests} tests, {} frames; {} more evaluated in {:.0} s",
        tests * 20,
        tests - has,
        begun.elapsed().as_secs_f64()
    );
    let settings = ServeSettings {
        notebook,
        port: None,
        phone: false,
    };
    let begun = Instant::now();
    let shared = Arc::new(Shared::open(&settings).unwrap());
    println!("opened in {:.1} ms", begun.elapsed().as_secs_f64() * 1000.0);
    let asker = Asker {
        shared,
        runtime: tokio::runtime::Builder::new_multi_thread()
            .worker_threads(2)
            .build()
            .unwrap(),
    };
    let mut all = vec![
        asker.times("list of all tests", PAGE_LIMIT, &vec!["/".to_owned(); 7]),
        asker.times("search", SEARCH_LIMIT, &searches()),
        asker.times("new test", PAGE_LIMIT, &vec!["/tests/new".to_owned(); 5]),
        asker.times("spectra, worked out", PAGE_LIMIT, &spectra()),
        asker.times("trace a plot", PAGE_LIMIT, &vec!["/trace".to_owned(); 5]),
    ];
    let plain = spread(tests, false);
    let examples = spread(tests, true);
    for (page, word) in [
        ("plan", "plan"),
        ("exposures", "exposures"),
        ("negatives", "negatives"),
        ("curves", "curves"),
        ("spectra of a test", "spectra"),
        ("findings", "findings"),
        ("report, around it", "report"),
        ("report itself", "report.html"),
        ("history", "history"),
        ("findings as JSON", "findings.json"),
    ] {
        let mut paths = vec![];
        for test in plain.iter().chain(&examples) {
            paths.push(format!("/tests/{test}/{word}"));
        }
        if word == "negatives" {
            // Work of its own with progress, as the page says; the table itself is held.
            paths = examples
                .iter()
                .rev()
                .take(7)
                .map(|test| format!("/tests/{test}/{word}"))
                .collect();
            for path in &paths {
                asker.prepare(path);
            }
        }
        all.push(asker.times(page, PAGE_LIMIT, &paths));
    }
    let compared: Vec<String> = plain
        .windows(2)
        .take(7)
        .map(|pair| format!("/tests/{}/compare?with={}", pair[0], pair[1]))
        .collect();
    for path in &compared {
        asker.prepare(path);
    }
    all.push(asker.times("comparison", PAGE_LIMIT, &compared));
    all
}

fn searches() -> Vec<String> {
    // Every test meets the first three; the last meets none.
    [
        "test",
        "t",
        "testfilm",
        "testfilm+1",
        "407-7",
        "meadow+wood",
        "unheard",
    ]
    .into_iter()
    .map(|words| format!("/?words={words}"))
    .collect()
}

fn spectra() -> Vec<String> {
    let mut paths = vec![];
    for film in ["panchromatic", "extended-red", "near-infrared"] {
        for edge in [590, 645, 695, 715, 760] {
            paths.push(format!(
                "/spectra/answer?film_class={film}&kind=edge&edge_nm={edge}&level=50%25&sky=sun&sun_deg=35&subject=leaf"
            ));
        }
    }
    paths
}

fn main() {
    let named: Vec<u32> = std::env::args().filter_map(|a| a.parse().ok()).collect();
    // Without `--bench` this is only a test that it runs.
    let sizes = match (std::env::args().any(|a| a == "--bench"), named.is_empty()) {
        (_, false) => named,
        (true, true) => SIZES.to_vec(),
        (false, true) => vec![EXAMPLE_OF],
    };
    let dir = tempfile::tempdir().unwrap();
    let mut over = vec![];
    let mut has = 0;
    for tests in sizes {
        let measured = measure(dir.path(), has, tests);
        has = tests;
        for times in measured {
            let ms = |time: Duration| time.as_secs_f64() * 1000.0;
            println!(
                "{:20} {} ms by the clock, {} of the processors, {:2} asked, {:7.1} kB",
                times.page,
                median_and_worst(&times.clock),
                times.processors(),
                times.clock.len(),
                times.bytes as f64 / 1000.0
            );
            if tests <= 1000 && times.worst() > times.limit {
                over.push(format!(
                    "{tests} tests: {} took {:.1} ms, {:.0} are allowed",
                    times.page,
                    ms(times.worst()),
                    ms(times.limit)
                ));
            }
        }
    }
    assert!(over.is_empty(), "{}", over.join("; "));
}
