//! Looks at a scan as `measure` does, and at its clear film beside two others.

use super::doing::Sent;
use negative::calibration::{TabletReading, calibrate};
use negative::decode::{DecodeLimits, ScanReader};
use negative::frame_edges::find_frame;
use negative::honesty::{
    HonestyFinding, RebateReading, file_findings, light_findings, light_of_scan, rebates_agree,
    tablet_findings, texture_findings, uneven_light_finding,
};
use negative::outline::{Outline, Rectangle};
use negative::survey::survey;
use negative::tone::{ToneEncoding, tone_of};
use quantity::{Density, Flag, Measured};
use std::io::{Cursor, Read, Seek};
use std::path::Path;
use testkit::FilmScan;

/// What the checks said.
pub(crate) struct Looked {
    pub(crate) findings: Vec<HonestyFinding>,
}

impl Looked {
    /// The first finding with one of these flags.
    pub(crate) fn told(&self, flags: &[Flag]) -> Option<&HonestyFinding> {
        self.findings.iter().find(|f| flags.contains(&f.flag))
    }
}

fn outline(recorded: &record::Outline) -> Outline {
    match recorded {
        record::Outline::Rectangle {
            x,
            y,
            width,
            height,
        } => Outline::Rectangle(Rectangle {
            x: f64::from(*x),
            y: f64::from(*y),
            width: f64::from(*width),
            height: f64::from(*height),
        }),
        other => unreachable!("made scans have rectangles only, found {other:?}"),
    }
}

/// Looks at a scan that was sent on.
pub(crate) fn look(scan: &FilmScan, sent: &Sent) -> Looked {
    let file = sent.file();
    let mut reader = opened(Cursor::new(file)).unwrap_or_else(|e| unreachable!("a made file: {e}"));
    let info = reader.info().clone();
    let channel = reader.usual_channel();
    let recorded = sent.tone.clone();
    let tone = tone_of(&info, recorded.as_ref(), channel);
    // Sizes may have changed; outlines go with the picture.
    let scale = (
        f64::from(info.width) / scan.width as f64,
        f64::from(info.height) / scan.height as f64,
    );
    let mut outlines: Vec<Outline> = vec![outline(&scan.rebate)];
    outlines.extend(scan.tablet.iter().map(|(o, _)| outline(o)));
    for outline in &mut outlines {
        if let Outline::Rectangle(r) = outline {
            r.x *= scale.0;
            r.width *= scale.0;
            r.y *= scale.1;
            r.height *= scale.1;
        }
    }
    let surveyed = survey(&mut reader, channel, &tone, &outlines, None, None)
        .unwrap_or_else(|e| unreachable!("a made scan is measured: {e}"));
    let mut findings = file_findings(&info, &tone, &surveyed.histogram);
    findings.extend(texture_findings(&info, &surveyed.texture, &outlines[1..]));
    let (clear, steps) = (&surveyed.patches[0], &surveyed.patches[1..]);
    let readings: Vec<TabletReading> = steps
        .iter()
        .zip(&scan.tablet)
        .filter_map(|(statistics, (_, density))| {
            Some(TabletReading {
                statistics: statistics.clone(),
                density: Measured::new(Density::gross(*density).ok()?, 0.01),
            })
        })
        .collect();
    let calibration = calibrate(&readings);
    match &calibration {
        Ok(calibration) => findings.extend(tablet_findings(calibration)),
        // A tablet in no order is refused outright, and said so.
        Err(error) => findings.push(HonestyFinding::new(
            Flag::TabletOutOfOrder,
            error.to_string(),
        )),
    }
    findings.extend(light_findings(
        calibration.as_ref().ok(),
        &tone,
        &surveyed.histogram,
        &[clear],
    ));
    let frame = find_frame(&surveyed.preview);
    let light = light_of_scan(&surveyed.preview, &frame, calibration.as_ref().ok());
    findings.extend(light.ok().and_then(|light| uneven_light_finding(&light)));
    // Two more frames of the film, scanned alike; their base+fog is not quite the same.
    let others: Vec<_> = [0.996, 1.006]
        .into_iter()
        .map(|times| {
            let mut other = clear.clone();
            other.signal = sent.clear_signal(&tone) * times;
            other.mean_code = sent.clear_code * times;
            other
        })
        .collect();
    if sent.series {
        let named = [
            ("this", clear),
            ("first", &others[0]),
            ("second", &others[1]),
        ];
        let rebates: Vec<RebateReading<'_>> = named
            .iter()
            .map(|(name, statistics)| RebateReading { name, statistics })
            .collect();
        let changed = rebates_agree(&rebates, 0.02).changed;
        findings.extend(changed.into_iter().map(|c| c.finding));
    }
    Looked { findings }
}

fn opened<R: Read + Seek>(source: R) -> Result<ScanReader<R>, String> {
    ScanReader::open(source, 0, &DecodeLimits::default()).map_err(|e| e.to_string())
}

/// Looks at a file of which nothing more is known.
pub(crate) fn look_at_file(path: &Path) -> Result<Vec<HonestyFinding>, String> {
    let file = std::fs::File::open(path).map_err(|e| e.to_string())?;
    let mut reader = opened(std::io::BufReader::new(file))?;
    let info = reader.info().clone();
    let channel = reader.usual_channel();
    let tone = tone_of(&info, None::<&ToneEncoding>, channel);
    let surveyed =
        survey(&mut reader, channel, &tone, &[], None, None).map_err(|e| e.to_string())?;
    let mut findings = file_findings(&info, &tone, &surveyed.histogram);
    findings.extend(texture_findings(&info, &surveyed.texture, &[]));
    Ok(findings)
}
