//! Outlines drawn on one frame, carried to the others of the same subject.
//!
//! The scans of two frames are laid on each other by `negative::registration`,
//! on reduced pictures from which the step tablet and the border are left out:
//! both lie in the same place of every scan and would hold the frames there.
//! A frame too blank to be laid takes the holder's geometry, the same place of
//! the scan. A frame that shows something else takes nothing: its carried
//! patches stay without a reading, and that is said.
//!
//! Begin with [`carry_patches`].

use crate::error::with_causes;
use crate::measuring::{Surveyed, outline_of, tone_of_record};
use crate::pictures::smaller;
use crate::progress::go_on;
use crate::scan_channel::channel_of_record;
use crate::scan_reader::{decode_remedy, recorded_scan_reader, scan_error};
use crate::{AppError, Progress};
use negative::preview::{Preview, PreviewPass};
use negative::registration::{
    GreyPicture, Motion, Placement, Registration, RegistrationError, register, register_upright,
};
use notebook::{TestFolder, read_test_folder};
use record::{Calibrator, Id, Outline, Scan, Test};
use std::collections::BTreeMap;
use std::path::Path;
use std::sync::{Arc, Mutex, PoisonError};

/// Long side of the pictures that are laid on each other, at most.
const REDUCED_SIDE: u32 = 1200;
/// Border of a scan that is left out, as a share of its sides: the edge of the
/// film lies there and belongs to the holder.
const BORDER: f64 = 0.035;
/// Least signal that a logarithm is taken of: one code of 16 bits.
const LEAST_SIGNAL: f32 = 1.0 / 65535.0;
/// How far a frame may lie elsewhere in its scan than the frame the outline was
/// drawn on: one standard deviation, as a share of the long side. Common
/// practice: sheets have about half a millimetre of play in a holder of 120 mm
/// and are laid on the glass to about a millimetre.
const HOLDER_PLAY: f64 = 0.01;

/// How a patch came to its place.
#[derive(Clone, Debug)]
pub(crate) enum Way {
    /// By laying the frames on each other.
    Registered(Box<Quality>),
    /// At the same place of the scan, and why.
    Holder { reason: String },
}

/// How well two frames lie on each other. \[pixels of the scan that takes the outlines\]
#[derive(Clone, Debug)]
pub(crate) struct Quality {
    pub(crate) agreement: f64,
    pub(crate) above_chance: f64,
    pub(crate) blocks_agreeing: usize,
    pub(crate) blocks: usize,
    pub(crate) scatter_px: f64,
    pub(crate) rotation_degrees: f64,
    pub(crate) scale: f64,
    pub(crate) shift_px: (f64, f64),
    /// From pixels of the scan that gives to pixels of the scan that takes.
    pub(crate) registration: Registration,
}

/// One carried patch.
#[derive(Clone, Debug)]
pub(crate) struct CarriedPatch {
    pub(crate) name: Id,
    pub(crate) outline: negative::outline::Outline,
    /// Standard uncertainty of its place. \[pixels\]
    pub(crate) uncertainty_px: f64,
}

/// The patches carried from one frame to another.
#[derive(Clone, Debug)]
pub(crate) struct CarriedFrame {
    pub(crate) frame: Id,
    pub(crate) scan: Id,
    pub(crate) from_frame: Id,
    pub(crate) from_scan: Id,
    pub(crate) way: Way,
    pub(crate) patches: Vec<CarriedPatch>,
}

/// What was carried, and what was not.
#[derive(Clone, Debug, Default)]
pub(crate) struct Carried {
    pub(crate) frames: Vec<CarriedFrame>,
    /// What was refused, as sentences.
    pub(crate) refusals: Vec<String>,
}

impl CarriedFrame {
    /// Says how the patches came here, for whoever confirms them.
    pub(crate) fn words(&self) -> String {
        let names: Vec<&str> = self.patches.iter().map(|p| p.name.as_str()).collect();
        let worst = self
            .patches
            .iter()
            .map(|p| p.uncertainty_px)
            .fold(0.0, f64::max);
        let names = names.join(", ");
        match &self.way {
            Way::Registered(q) => format!(
                "{names} carried from frame {}: the place is known to {worst:.1} pixels of the scan; edges of the two frames \
                 agree by {:.2} ({:.0} times the scatter of chance), {} of {} blocks follow; shift {:.1} right, {:.1} down, \
                 rotation {:.2}°, scale {:.4}",
                self.from_frame,
                q.agreement,
                q.above_chance,
                q.blocks_agreeing,
                q.blocks,
                q.shift_px.0,
                q.shift_px.1,
                q.rotation_degrees,
                q.scale,
            ),
            Way::Holder { reason } => format!(
                "{names} at the same place of the scan as on frame {}, by the holder, to {worst:.0} pixels: {reason}",
                self.from_frame
            ),
        }
    }
}

/// A reduced picture of a scan.
struct Reduced {
    picture: GreyPicture,
    extent: Extent,
}

/// How large a scan is, and how many of its pixels one of the reduced picture is.
#[derive(Clone, Copy, Debug)]
struct Extent {
    box_side: f64,
    /// Width and height of the scan.
    size: (f64, f64),
}

/// Two scans laid on each other, or why they could not be.
#[derive(Debug)]
struct LaidPair {
    first: Extent,
    second: Extent,
    found: Result<Registration, RegistrationError>,
}

/// Scans of one test that were laid on each other already, by their names: kept by whoever
/// asks again and again, and begun anew when a scan or what is recorded of it changes.
#[derive(Debug, Default)]
pub struct LaidPairs(Mutex<BTreeMap<(Id, Id), Arc<LaidPair>>>);

impl LaidPairs {
    fn known(&self, pair: &(Id, Id)) -> Option<Arc<LaidPair>> {
        let pairs = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        pairs.get(pair).map(Arc::clone)
    }

    fn keep(&self, pair: (Id, Id), laid: LaidPair) -> Arc<LaidPair> {
        let laid = Arc::new(laid);
        let mut pairs = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        pairs.insert(pair, Arc::clone(&laid));
        laid
    }

    /// Whether all scans that a folder's patches are carried between are laid on each other.
    ///
    /// # Errors
    /// [`AppError`] when the folder can't be read.
    pub fn hold_all_of(&self, dir: &Path) -> Result<bool, AppError> {
        let folder = read_test_folder(dir)?;
        let test = &folder.test;
        let known = |patch: &record::Patch| {
            let Some((scan, Outline::CarriedFrom(from))) = &patch.place else {
                return true;
            };
            let drawn = test.patch(from, &patch.name).and_then(|p| p.place.as_ref());
            drawn.is_none_or(|(from_scan, _)| {
                self.known(&(from_scan.clone(), scan.clone())).is_some()
            })
        };
        Ok(test.parts().patches.iter().all(known))
    }
}

/// Carries every patch of a folder that asks for it, and gives the folder with
/// the outlines in their place.
pub(crate) fn carry_patches(
    mut folder: TestFolder,
    pairs: &LaidPairs,
    progress: &dyn Progress,
) -> Result<(TestFolder, Carried), AppError> {
    let mut parts = folder.test.parts().clone();
    // Frame and scan that take, frame that gives: patches by place in the list.
    let mut jobs: Vec<((Id, Id, Id), Vec<usize>)> = vec![];
    for (place, patch) in parts.patches.iter().enumerate() {
        if let Some((scan, Outline::CarriedFrom(from))) = &patch.place {
            let key = (patch.frame.clone(), scan.clone(), from.clone());
            match jobs.iter_mut().find(|(k, _)| *k == key) {
                Some((_, places)) => places.push(place),
                None => jobs.push((key, vec![place])),
            }
        }
    }
    let mut carried = Carried::default();
    let mut refused: Vec<Refused> = vec![];
    if jobs.is_empty() {
        return Ok((folder, carried));
    }
    let mut reduced: BTreeMap<Id, Reduced> = BTreeMap::new();
    let total = jobs.len() as u64;
    for (n, ((frame, scan, from), places)) in jobs.into_iter().enumerate() {
        go_on(progress)?;
        progress.at(
            &format!("carrying patches to frame {frame}"),
            n as u64,
            total,
        );
        // Patches of one frame may be drawn in several scans of it.
        let mut by_scan: Vec<(Id, Vec<usize>)> = vec![];
        for place in places {
            let name = &parts.patches[place].name;
            if let Some((from_scan, _)) = folder
                .test
                .patch(&from, name)
                .and_then(|p| p.place.as_ref())
            {
                match by_scan.iter_mut().find(|(s, _)| s == from_scan) {
                    Some((_, places)) => places.push(place),
                    None => by_scan.push((from_scan.clone(), vec![place])),
                }
            }
        }
        for (from_scan, places) in by_scan {
            let both = (from_scan.clone(), scan.clone());
            alone_in_scan(&folder.test, &from_scan)?;
            alone_in_scan(&folder.test, &scan)?;
            let pair = match pairs.known(&both) {
                Some(pair) => pair,
                None => {
                    for id in [&from_scan, &scan] {
                        if !reduced.contains_key(id) {
                            reduced.insert(id.clone(), reduced_picture(&folder, id)?);
                        }
                    }
                    let (first, second) = (&reduced[&from_scan], &reduced[&scan]);
                    let laid = LaidPair {
                        first: first.extent,
                        second: second.extent,
                        found: register(&first.picture, &second.picture, Motion::Tilted),
                    };
                    pairs.keep(both, laid)
                }
            };
            let names: Vec<Id> = places
                .iter()
                .map(|p| parts.patches[*p].name.clone())
                .collect();
            match lay(&folder.test, &from, &pair, &names) {
                Ok((way, patches)) => {
                    for (place, patch) in places.iter().zip(&patches) {
                        let negative::outline::Outline::Polygon(corners) = &patch.outline else {
                            unreachable!("a carried outline is a polygon")
                        };
                        parts.patches[*place].place =
                            Some((scan.clone(), Outline::Polygon(corners.clone())));
                    }
                    carried.frames.push(CarriedFrame {
                        frame: frame.clone(),
                        scan: scan.clone(),
                        from_frame: from.clone(),
                        from_scan,
                        way,
                        patches,
                    });
                }
                Err(reason) => {
                    for place in &places {
                        parts.patches[*place].place = None;
                    }
                    refused.push(Refused {
                        to: (frame.clone(), scan.clone()),
                        from: (from.clone(), from_scan),
                        names,
                        reason,
                    });
                }
            }
        }
    }
    progress.at("carrying patches", total, total);
    carried.refusals = sentences(&refused);
    folder.test = Test::assemble(parts).map_err(|e| {
        AppError::new(
            format!("the test with its carried patches does not hold together: {e}"),
            "outline the patches on each frame",
        )
    })?;
    Ok((folder, carried))
}

/// Patches that could not be carried to a frame.
struct Refused {
    /// The frame and its scan.
    to: (Id, Id),
    /// Where they are outlined.
    from: (Id, Id),
    names: Vec<Id>,
    reason: String,
}

/// Says what was refused, frames with one reason together, and once what to do.
fn sentences(refused: &[Refused]) -> Vec<String> {
    let mut told: Vec<(&Refused, Vec<String>)> = vec![];
    for this in refused {
        let to = format!("{} (scan {})", this.to.0, this.to.1);
        let same = told.iter_mut().find(|(first, _)| {
            first.from == this.from && first.names == this.names && first.reason == this.reason
        });
        match same {
            Some((_, frames)) => frames.push(to),
            None => told.push((this, vec![to])),
        }
    }
    let several = refused.len() > 1;
    let last = told.len().saturating_sub(1);
    told.iter()
        .enumerate()
        .map(|(place, (of, frames))| {
            let names: Vec<&str> = of.names.iter().map(Id::as_str).collect();
            let remedy = match (place == last, several) {
                (false, _) => "",
                (true, false) => "; outline them on this frame in patches.csv",
                (true, true) => "; outline them on each of these frames in patches.csv",
            };
            format!(
                "{} {}: {} can't be carried from frame {} (scan {}): {}{remedy}",
                if frames.len() == 1 { "frame" } else { "frames" },
                frames.join(", "),
                names.join(", "),
                of.from.0,
                of.from.1,
                of.reason,
            )
        })
        .collect()
}

/// Refuses a scan that shows several frames: which part is whose is not recorded.
fn alone_in_scan(test: &Test, scan: &Id) -> Result<(), AppError> {
    let mut frames: Vec<&Id> = test
        .parts()
        .patches
        .iter()
        .filter(|p| p.place.as_ref().is_some_and(|(s, _)| s == scan))
        .map(|p| &p.frame)
        .collect();
    frames.sort();
    frames.dedup();
    if frames.len() < 2 {
        return Ok(());
    }
    let frames: Vec<&str> = frames.iter().map(|f| f.as_str()).collect();
    Err(AppError::new(
        format!(
            "scan {scan} shows {} frames ({}), so patches can't be carried from or to it",
            frames.len(),
            frames.join(", ")
        ),
        "give each frame a scan of its own, or outline the patches on each frame",
    ))
}

/// Lays two scans of one subject on each other.
///
/// What is given goes from pixels of the first scan to pixels of the second.
pub(crate) fn laid_scans(
    folder: &TestFolder,
    first: &Id,
    second: &Id,
) -> Result<Registration, AppError> {
    alone_in_scan(&folder.test, first)?;
    alone_in_scan(&folder.test, second)?;
    let (from, to) = (
        reduced_picture(folder, first)?,
        reduced_picture(folder, second)?,
    );
    laid((first, &from), (second, &to))
}

/// Lays two scans that were measured on each other, by pictures of at most `side` pixels
/// on their long side: the fewer, the quicker, and the less certain the place.
pub(crate) fn laid_surveyed(
    folder: &TestFolder,
    side: u32,
    first: &Surveyed,
    second: &Surveyed,
) -> Result<Registration, AppError> {
    alone_in_scan(&folder.test, &first.scan)?;
    alone_in_scan(&folder.test, &second.scan)?;
    let reduced = |of: &Surveyed| {
        let Some(scan) = folder.test.scan(&of.scan) else {
            unreachable!("a measured scan is recorded")
        };
        let long = of.preview.width.max(of.preview.height);
        let preview = smaller(&of.preview, long.div_ceil(side.max(1)).max(1));
        reduced_preview(scan, &preview, (of.info.width, of.info.height))
    };
    let (from, to) = (reduced(first)?, reduced(second)?);
    // Mostly nothing was touched between two frames.
    let upright = register_upright(&from.picture, &to.picture, Motion::Flat);
    if let Some(found) = upright.ok().filter(lies_well) {
        return Ok(found.scaled(from.extent.box_side, to.extent.box_side));
    }
    laid((&first.scan, &from), (&second.scan, &to))
}

/// Whether so much of two frames follows one motion that no other need be looked for.
fn lies_well(found: &Registration) -> bool {
    const PIXELS: f64 = 0.5;
    4 * found.blocks_agreeing >= 3 * found.blocks && found.scatter_px < PIXELS
}

fn laid(
    (first, from): (&Id, &Reduced),
    (second, to): (&Id, &Reduced),
) -> Result<Registration, AppError> {
    let found = register(&from.picture, &to.picture, Motion::Tilted).map_err(|e| {
        AppError::new(
            format!("scans {first} (the first) and {second} can't be laid on each other: {e}"),
            "hold frames of one subject against each other, neither of them blank",
        )
    })?;
    Ok(found.scaled(from.extent.box_side, to.extent.box_side))
}

/// What of a scan belongs to no frame: its border and the step tablet, as left,
/// top, right and bottom.
pub(crate) fn left_out_boxes(
    scan: &Scan,
    (width, height): (f64, f64),
) -> Vec<(f64, f64, f64, f64)> {
    let (across, down) = (BORDER * width, BORDER * height);
    let mut boxes = tablet_boxes(scan);
    boxes.extend([
        (0.0, 0.0, across, height),
        (width - across, 0.0, width, height),
        (0.0, 0.0, width, down),
        (0.0, height - down, width, height),
    ]);
    boxes
}

/// Carries the patches of a frame between two scans that were laid on each other; else
/// says why not.
fn lay(
    test: &Test,
    from: &Id,
    pair: &LaidPair,
    names: &[Id],
) -> Result<(Way, Vec<CarriedPatch>), String> {
    let (first, second) = (&pair.first, &pair.second);
    let (way, found) = match &pair.found {
        Ok(found) => {
            let registration = found.scaled(first.box_side, second.box_side);
            let to_scan = registration.placement();
            let middle = (0.5 * first.size.0, 0.5 * first.size.1);
            let to = to_scan.carry(middle);
            let quality = Quality {
                agreement: found.agreement,
                above_chance: found.above_chance,
                blocks_agreeing: found.blocks_agreeing,
                blocks: found.blocks,
                scatter_px: found.scatter_px * first.box_side,
                rotation_degrees: to_scan.rotation_at(middle).to_degrees(),
                scale: to_scan.scale_at(middle),
                shift_px: (to.0 - middle.0, to.1 - middle.1),
                registration,
            };
            (Way::Registered(Box::new(quality)), Some(found))
        }
        Err(error @ RegistrationError::TooBlank { .. }) => {
            let reason = error.to_string().replace("the second frame", "this frame");
            (Way::Holder { reason }, None)
        }
        Err(error) => return Err(error.to_string()),
    };
    let patches: Result<Vec<CarriedPatch>, String> = names
        .iter()
        .map(|name| {
            let Some((_, outline)) = test.patch(from, name).and_then(|p| p.place.as_ref()) else {
                unreachable!("an assembled test carries from outlined patches only")
            };
            carried_patch(name, &outline_of(outline)?, first, second, found)
        })
        .collect();
    Ok((way, patches?))
}

fn carried_patch(
    name: &Id,
    outline: &negative::outline::Outline,
    first: &Extent,
    second: &Extent,
    found: Option<&Registration>,
) -> Result<CarriedPatch, String> {
    let no_corners = || format!("patch {name} has no corners");
    let (outline, uncertainty_px) = match found {
        Some(found) => {
            let found = found.scaled(first.box_side, second.box_side);
            let carried =
                negative::registration::carry_outline(&found, outline).ok_or_else(no_corners)?;
            (carried.outline, carried.uncertainty_px)
        }
        None => {
            let long = |extent: &Extent| extent.size.0.max(extent.size.1);
            let scale = long(second) / long(first);
            let same = Placement::similarity(0.0, scale, (0.0, 0.0), (0.0, 0.0));
            let outline =
                negative::registration::outline_by(&same, outline).ok_or_else(no_corners)?;
            (outline, HOLDER_PLAY * long(second))
        }
    };
    let inside = outline.bounds().is_some_and(|(left, top, right, bottom)| {
        left >= 0.0 && top >= 0.0 && right <= second.size.0 && bottom <= second.size.1
    });
    if inside {
        Ok(CarriedPatch {
            name: name.clone(),
            outline,
            uncertainty_px,
        })
    } else {
        Err(format!("patch {name} would lie outside this scan"))
    }
}

/// Reads a scan as a small picture of log10 signal, without tablet and border.
fn reduced_picture(folder: &TestFolder, id: &Id) -> Result<Reduced, AppError> {
    let Some(scan) = folder.test.scan(id) else {
        unreachable!("an assembled test records the scan of each patch")
    };
    let fail = |e: &dyn std::error::Error| scan_error(scan, e, decode_remedy());
    let mut reader = recorded_scan_reader(folder, scan)?;
    let info = reader.info().clone();
    let channel = channel_of_record(scan, &reader)?;
    let tone = tone_of_record(scan, &info, channel)?;
    let mut pass = PreviewPass::new(info.width, info.height, &tone, None, REDUCED_SIDE)
        .map_err(|e| fail(&e))?;
    reader
        .for_each_row(channel, |row| pass.take(&row))
        .map_err(|e| fail(&e))?;
    reduced_preview(scan, &pass.finish(), (info.width, info.height))
}

/// The same from a preview of the scan, whose size is told.
fn reduced_preview(
    scan: &Scan,
    preview: &Preview,
    (scan_width, scan_height): (u32, u32),
) -> Result<Reduced, AppError> {
    let (width, height) = (preview.width as usize, preview.height as usize);
    let mut values: Vec<f32> = preview
        .signal
        .iter()
        .map(|s| -s.max(LEAST_SIGNAL).log10())
        .collect();
    let side = f64::from(preview.box_side);
    let (across, down) = (BORDER * width as f64, BORDER * height as f64);
    let boxes = tablet_boxes(scan);
    for (place, value) in values.iter_mut().enumerate() {
        let (x, y) = ((place % width) as f64 + 0.5, (place / width) as f64 + 0.5);
        let border =
            x < across || y < down || x > width as f64 - across || y > height as f64 - down;
        let tablet = boxes.iter().any(|(left, top, right, bottom)| {
            (*left..*right).contains(&(x * side)) && (*top..*bottom).contains(&(y * side))
        });
        if border || tablet {
            *value = f32::NAN;
        }
    }
    let picture = GreyPicture::new(width, height, values).map_err(|e| {
        AppError::new(
            format!("scan {} ({}): {}", scan.id, scan.file, with_causes(&e)),
            "outline the patches of this frame itself",
        )
    })?;
    Ok(Reduced {
        picture,
        extent: Extent {
            box_side: side,
            size: (f64::from(scan_width), f64::from(scan_height)),
        },
    })
}

/// The tablet of a scan with a margin of a third of its shorter side around it.
fn tablet_boxes(scan: &Scan) -> Vec<(f64, f64, f64, f64)> {
    let Calibrator::Within(strip) = &scan.calibrator else {
        return vec![];
    };
    let around = strip
        .steps
        .iter()
        .flatten()
        .filter_map(|outline| outline_of(outline).ok()?.bounds())
        .reduce(|a, b| (a.0.min(b.0), a.1.min(b.1), a.2.max(b.2), a.3.max(b.3)));
    around
        .map(|(left, top, right, bottom)| {
            let margin = (right - left).min(bottom - top) / 3.0;
            (left - margin, top - margin, right + margin, bottom + margin)
        })
        .into_iter()
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn refused(frame: &str, reason: &str) -> Refused {
        let id = |text: &str| Id::new(text).unwrap();
        Refused {
            to: (id(frame), id(&format!("scan-{frame}"))),
            from: (id("anchor"), id("scan-anchor")),
            names: vec![id("card"), id("leaves")],
            reason: reason.to_owned(),
        }
    }

    #[test]
    fn frames_with_one_reason_are_told_together_and_the_remedy_once() {
        let lines = sentences(&[
            refused("b1", "the frames show nothing in common"),
            refused("b2", "patch card would lie outside this scan"),
            refused("b3", "the frames show nothing in common"),
        ]);
        assert_eq!(
            lines,
            [
                "frames b1 (scan scan-b1), b3 (scan scan-b3): card, leaves can't be carried from frame anchor \
                 (scan scan-anchor): the frames show nothing in common",
                "frame b2 (scan scan-b2): card, leaves can't be carried from frame anchor (scan scan-anchor): \
                 patch card would lie outside this scan; outline them on each of these frames in patches.csv",
            ]
        );
        let alone = sentences(&[refused("b1", "no")]);
        assert!(
            alone[0].ends_with("no; outline them on this frame in patches.csv"),
            "{alone:?}"
        );
        assert!(sentences(&[]).is_empty());
    }
}
