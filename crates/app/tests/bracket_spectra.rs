//! Signals of a real chart behind narrow filters against those predicted from its spectra.
//!
//! A 24-patch chart was photographed through narrow-band filters with linear camera
//! frames at seven times; reflectance of the patches and transmittance of the
//! filters were measured apart. Lamp and sensor are not known, but the same for all
//! patches of one filter, so only the differences between patches are compared.
//! None of the files is part of the project: ignored unless asked for with
//! `--ignored`, where they lie beside the checkout.

#![expect(
    clippy::unwrap_used,
    reason = "a test stops where something is not as it should be"
)]
#![expect(
    clippy::print_stderr,
    reason = "what was found is told beside the verdict"
)]

use negative::decode::{ChannelChoice, Codes, DecodeLimits, ScanReader};
use spectra::read::{Answers, Purpose, ValueScale, WavelengthUnit, spectral_reading};
use spectra::{Curve, CurveKind, Ends, GridChoice, Interpolation, Predicting, subject_contrast};
use std::fs;
use std::io::Cursor;
use std::path::{Path, PathBuf};

/// The patches in the order of the region map, by their columns in the table of spectra.
const PATCHES: [&str; 24] = [
    "dark skin",
    "light skin",
    "blue sky",
    "foliage",
    "blue flower",
    "bluish green",
    "orange",
    "purplish blue",
    "moderate red",
    "purple",
    "yellow green",
    "orange yellow",
    "blue",
    "green",
    "red",
    "yellow",
    "magenta",
    "cyan",
    "white 9.5 (.05 D)",
    "neutral 8 (.23 D)",
    "neutral 6.5 (.44 D)",
    "neutral 5 (.70 D)",
    "neutral 3.5 (1.05 D)",
    "black 2 (1.5 D)",
];

/// Where the sensor and the lamp have anything to say: the filters are a kit for 400 to
/// 700 nm, and the lamp is a projector that was unsteady beyond. \[nm\]
const BAND_NM: (f64, f64) = (400.0, 710.0);

/// Least mean code that is no noise, and greatest share of pixels at the end of the scale.
const LEAST_CODE: f64 = 6.0;
const MOST_CLIPPED: f64 = 0.005;

fn samples() -> PathBuf {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../../shared/samples");
    assert!(
        folder.is_dir(),
        "no samples at {}; this test is for where they are",
        folder.display()
    );
    folder
}

/// Codes of a grey picture, row by row, with its width.
fn codes(path: &Path) -> (usize, Vec<f64>) {
    let bytes = fs::read(path).unwrap();
    let mut reader = ScanReader::open(Cursor::new(bytes), 0, &DecodeLimits::default()).unwrap();
    let width = reader.info().width as usize;
    let mut all = vec![];
    reader
        .for_each_row(ChannelChoice::Grey, |row| match row.codes {
            Codes::Unsigned(codes) => all.extend(codes.iter().map(|c| f64::from(*c))),
            Codes::Float(codes) => all.extend(codes.iter().map(|c| f64::from(*c))),
        })
        .unwrap();
    (width, all)
}

/// The time in a frame's name, ms.
fn time_ms(path: &Path) -> f64 {
    let name = path.file_name().unwrap().to_str().unwrap();
    let word = name.split('_').find(|word| word.ends_with("ms")).unwrap();
    word.trim_end_matches("ms").parse().unwrap()
}

/// log10 of each patch's code per ms, mean over the frames that show it; of the mosaic
/// only the phase (row, column) that carries the signal.
fn measured(folder: &Path, map: &[f64], phase: (usize, usize)) -> Vec<Option<f64>> {
    let frames: Vec<(f64, usize, Vec<f64>)> = fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .map(|path| {
            let (width, codes) = codes(&path);
            (time_ms(&path), width, codes)
        })
        .collect();
    assert_eq!(frames.len(), 7, "{}", folder.display());
    (1..=PATCHES.len())
        .map(|patch| {
            let seen: Vec<f64> = frames
                .iter()
                .filter_map(|(ms, width, codes)| {
                    let inside: Vec<f64> = codes
                        .iter()
                        .zip(map)
                        .enumerate()
                        .filter(|(at, (_, region))| {
                            **region == patch as f64 && (at / width % 2, at % width % 2) == phase
                        })
                        .map(|(_, (code, _))| *code)
                        .collect();
                    let count = inside.len() as f64;
                    let mean = inside.iter().sum::<f64>() / count;
                    let clipped = inside.iter().filter(|c| **c >= 255.0).count() as f64;
                    (mean > LEAST_CODE && clipped / count < MOST_CLIPPED)
                        .then(|| (mean / ms).log10())
                })
                .collect();
            (!seen.is_empty()).then(|| seen.iter().sum::<f64>() / seen.len() as f64)
        })
        .collect()
}

fn column(bytes: &[u8], name: &str, kind: CurveKind, purpose: Purpose) -> Curve {
    let answers = Answers {
        wavelength_unit: Some(WavelengthUnit::Nanometres),
        value_scale: Some(ValueScale::Fraction),
        column: Some(name.to_owned()),
        part: None,
    };
    let mut reading = spectral_reading(bytes, purpose, &answers).unwrap();
    // Beyond the lamp the table of the filters is a ratio of noise, up to 9.
    reading
        .points
        .retain(|point| point.wavelength.to_nm() <= 1000.0);
    Curve::from_reading(kind, name, &reading).unwrap()
}

fn flat(kind: CurveKind) -> Curve {
    Curve::from_values(kind, "even", &[(BAND_NM.0, 1.0), (BAND_NM.1, 1.0)]).unwrap()
}

#[test]
#[ignore = "needs the sample frames and spectra beside the workspace"]
fn patches_differ_behind_each_filter_as_their_spectra_say() {
    let samples = samples();
    let table = fs::read(samples.join("spectra/chart_and_filters/spectra_averaged.csv")).unwrap();
    let patches =
        PATCHES.map(|name| column(&table, name, CurveKind::Reflectance, Purpose::Subject));
    let (film, light) = (flat(CurveKind::Sensitivity), flat(CurveKind::RelativePower));
    let bracket = samples.join("bracket");
    let (_, map) = codes(&bracket.join("d2_colorChecker30cm_550nm_labels.png"));
    // The filter sold as 450 stands as 442 nm in the table.
    for (folder, name, phase) in [
        ("chart_450nm", "442 nm", (0, 1)),
        ("chart_550nm", "550 nm", (1, 1)),
        ("chart_600nm", "600 nm", (1, 0)),
        ("chart_700nm", "700 nm", (1, 0)),
    ] {
        let filter = column(&table, name, CurveKind::Transmittance, Purpose::Filter);
        let of = Predicting {
            film: &film,
            filter: &filter,
            light: &light,
            interpolation: Interpolation::Linear,
            grid: GridChoice::Union,
            ends: Ends::LeftOut,
        };
        let pairs: Vec<(f64, f64)> = measured(&bracket.join(folder), &map, phase)
            .into_iter()
            .zip(&patches)
            .filter_map(|(seen, patch)| {
                let contrast = subject_contrast(&of, patch).unwrap().filtered.unwrap();
                Some((seen?, contrast.to_delta_log_h()))
            })
            .collect();
        let count = pairs.len() as f64;
        let mean = |of: &dyn Fn(&(f64, f64)) -> f64| pairs.iter().map(of).sum::<f64>() / count;
        let (seen, predicted) = (mean(&|p| p.0), mean(&|p| p.1));
        let product = |of: &dyn Fn(f64, f64) -> f64| mean(&|p| of(p.0 - seen, p.1 - predicted));
        let rms = product(&|a, b| (a - b) * (a - b)).sqrt();
        let correlation =
            product(&|a, b| a * b) / (product(&|a, _| a * a) * product(&|_, b| b * b)).sqrt();
        eprintln!("{folder}: {count} patches, rms {rms:.3} log10, correlation {correlation:.3}");
        assert_eq!(pairs.len(), PATCHES.len());
        // The samples' own table, from a computation by another program: rms 0.06 to
        // 0.11 in log10, correlation 0.96 to 0.99. Two printed digits.
        assert!(rms < 0.115, "{folder}: rms {rms}");
        assert!(correlation > 0.955, "{folder}: correlation {correlation}");
    }
}
