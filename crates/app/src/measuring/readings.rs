//! Patches of scans to readings: a density by the tablet, else a relative one.

use super::calibration_used::{calibration_of, refusal_words, signal_rises};
use super::clear_film::clear_of;
use super::refusals::Refusals;
use super::surveyed::Surveyed;
use crate::scan_checks::{POSITIVE_REFUSED, flare_of, is_positive, veiled};
use negative::calibration::{CalibratedReading, Calibration};
use negative::honesty::ScannerFlare;
use negative::patch::PatchStatistics;
use negative::relative::{
    RelativeDensityError, RelativeReading, SignalRises, log_signal, relative_density,
};
use negative::widening::flags_of_readings;
use notebook::TestFolder;
use quantity::{Bound, Flag, Measured};
use record::{Reading, ReadingOrigin, Response, Scan};

/// Turns statistics into readings; what has none is told in sentences.
pub(super) fn readings(folder: &TestFolder, scans: &[Surveyed]) -> (Vec<Reading>, Vec<String>) {
    let mut readings = vec![];
    let mut refusals = Refusals::default();
    for scan in scans {
        if let Some(record) = folder.test.scan(&scan.scan) {
            readings_of_scan(folder, scans, scan, record, &mut readings, &mut refusals);
        }
    }
    (readings, refusals.into_sentences())
}

fn readings_of_scan(
    folder: &TestFolder,
    scans: &[Surveyed],
    scan: &Surveyed,
    record: &Scan,
    readings: &mut Vec<Reading>,
    refusals: &mut Refusals,
) {
    let calibration = calibration_of(scans, record);
    let mut flags = flags_of_readings(&scan.findings);
    let clear = clear_of(folder, scan);
    let rises = signal_rises(scans, record);
    let name = (scan.scan.to_string(), record.file.clone());
    if record.response == Response::Density && calibration.is_none() && !scan.patches.is_empty() {
        flags.insert(Flag::Uncalibrated);
        refusals.note(
            relative_only(&refusal_words(scans, scan, record), scan, &clear),
            &name,
        );
    }
    let positive = calibration.is_none()
        && record.response != Response::LogSignal
        && rises == SignalRises::WithLight
        && is_positive(&scan.findings);
    if positive {
        refusals.note(POSITIVE_REFUSED.to_owned(), &name);
        return;
    }
    let way = WayOfReading {
        response: record.response,
        calibration,
        flare: flare_of(calibration, &scan.tone),
        clear,
        rises,
    };
    for ((frame, patch), statistics) in &scan.patches {
        let (response, value, limit) = match way.read(statistics) {
            Ok(read) => read,
            Err(error) => {
                let reason = format!(
                    "its patches have no reading, because {error}; mend the outlines of its base_fog patches"
                );
                refusals.note(reason, &name);
                continue;
            }
        };
        let uncertainty = value.standard_uncertainty().hypot(scan.doubt);
        readings.push(Reading {
            frame: frame.clone(),
            patch: patch.clone(),
            response,
            value: Measured::new(value.value(), uncertainty)
                .flagged_all(value.flags())
                .flagged_all(&flags),
            limit,
            origin: ReadingOrigin::Scan(scan.scan.clone()),
        });
    }
}

/// Says why a scan gives no absolute density, and what its readings are relative to.
fn relative_only(refused: &str, scan: &Surveyed, clear: &[&PatchStatistics]) -> String {
    format!(
        "absolute density is refused, because {refused}{}; its readings are relative to {}",
        if scan.tone.encoding.is_known() {
            ""
        } else {
            " and neither file nor record says how code values follow light"
        },
        if clear.is_empty() {
            "the end of the code scale"
        } else {
            "its own clear film"
        },
    )
}

/// How the patches of one scan are read.
struct WayOfReading<'a> {
    response: Response,
    calibration: Option<&'a Calibration>,
    flare: Option<ScannerFlare>,
    clear: Vec<&'a PatchStatistics>,
    rises: SignalRises,
}

/// What a number responds to, the number, and whether it is only a limit.
type Read = (Response, Measured<f64>, Option<Bound>);

impl WayOfReading<'_> {
    fn read(&self, statistics: &PatchStatistics) -> Result<Read, RelativeDensityError> {
        Ok(match (self.response, self.calibration) {
            (Response::LogSignal, _) => {
                let RelativeReading { value, limit } = log_signal(statistics);
                (Response::LogSignal, value, limit)
            }
            (Response::Density, Some(calibration)) => {
                let (value, limit) = calibrated(&calibration.density(statistics));
                (Response::Density, veiled(value, self.flare.as_ref()), limit)
            }
            (Response::Density | Response::RelativeDensity, _) => {
                let RelativeReading { value, limit } =
                    relative_density(statistics, &self.clear, self.rises)?;
                let density =
                    Measured::new(value.value().to_density(), value.standard_uncertainty())
                        .flagged_all(value.flags());
                (Response::RelativeDensity, density, limit)
            }
        })
    }
}

/// A calibrated reading as number and limit.
pub(crate) fn calibrated(reading: &CalibratedReading) -> (Measured<f64>, Option<Bound>) {
    match reading {
        CalibratedReading::Density(density) => (
            Measured::new(density.value().to_density(), density.standard_uncertainty())
                .flagged_all(density.flags()),
            None,
        ),
        CalibratedReading::Limit {
            bound,
            density,
            flags,
        } => (
            Measured::new(density.to_density(), 0.0).flagged_all(flags),
            Some(*bound),
        ),
    }
}
