//! The whole test, checked.

use crate::*;
use std::collections::{BTreeMap, BTreeSet};

/// The parts of a test, not yet checked against each other.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct TestParts {
    /// What it is called.
    pub title: String,
    /// What it is to find out.
    pub purpose: Option<String>,
    /// Who made it.
    pub tester: Option<String>,
    /// Whether the data are invented; reports say so.
    pub invented: bool,
    /// Films.
    pub films: Vec<Film>,
    /// Filters.
    pub filters: Vec<Filter>,
    /// Lenses.
    pub lenses: Vec<Lens>,
    /// Lights.
    pub lights: Vec<Light>,
    /// Processes.
    pub processes: Vec<Process>,
    /// Tablets.
    pub tablets: Vec<Tablet>,
    /// Scans.
    pub scans: Vec<Scan>,
    /// Frames.
    pub frames: Vec<Frame>,
    /// Patches.
    pub patches: Vec<Patch>,
    /// Readings that were written down (those of scans are made anew).
    pub readings: Vec<Reading>,
    /// Other people's claims.
    pub outside_reports: Vec<OutsideReport>,
}

/// Why parts do not make a test. One variant for each thing to put right.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum RecordError {
    /// Rename one of the two.
    #[error("two {kind} records are named {id}")]
    NamedTwice {
        /// Kind of record.
        kind: &'static str,
        /// The name.
        id: String,
    },
    /// Add the record or mend the name.
    #[error("{from} refers to {kind} {id}, which is not recorded{known}")]
    NotRecorded {
        /// The record that refers.
        from: String,
        /// Kind of record that is missing.
        kind: &'static str,
        /// The name referred to.
        id: String,
        /// Names that are recorded, as a clause.
        known: String,
    },
    /// Rename one of the two.
    #[error("frame {frame} has two patches named {patch}")]
    PatchTwice {
        /// The frame.
        frame: String,
        /// The patch.
        patch: String,
    },
    /// Record at least one frame.
    #[error("the test has no frames")]
    NoFrames,
    /// Plan at least one frame.
    #[error("the plan has no frames")]
    NothingPlanned,
    /// Mend the exposure or the role.
    #[error("frame {frame} has the role {role} but its exposure is {exposure}")]
    RoleAgainstExposure {
        /// The frame.
        frame: String,
        /// Its role.
        role: &'static str,
        /// Its exposure.
        exposure: &'static str,
    },
    /// State the lens's focal length, or give a magnification.
    #[error(
        "frame {frame} states a bellows draw, but the focal length of its lens is not recorded"
    )]
    DrawWithoutFocalLength {
        /// The frame.
        frame: String,
    },
    /// Give one outline for each step.
    #[error("scan {scan} has {outlines} step outlines, but tablet {tablet} has {steps} steps")]
    StepCount {
        /// The scan.
        scan: String,
        /// The tablet.
        tablet: String,
        /// Outlines given.
        outlines: usize,
        /// Steps of the tablet.
        steps: usize,
    },
    /// Point at a scan that holds its own tablet.
    #[error("scan {scan} is calibrated by scan {other}, which has no step tablet in it")]
    CalibratorWithoutTablet {
        /// The scan.
        scan: String,
        /// The other scan.
        other: String,
    },
    /// Name an existing step.
    #[error("patch {patch} of frame {frame} is step {step}, but its tablet has {steps} steps")]
    StepOutsideTablet {
        /// The frame.
        frame: String,
        /// The patch.
        patch: String,
        /// The step named.
        step: u32,
        /// Steps of the tablet.
        steps: usize,
    },
    /// Outline the patch on the frame named, or outline this one itself.
    #[error("patch {patch} of frame {frame} is carried from frame {from}, but {fault}")]
    NotCarried {
        /// The frame.
        frame: String,
        /// The patch.
        patch: String,
        /// The frame it is carried from.
        from: String,
        /// What is in the way.
        fault: &'static str,
    },
    /// Correct the holder, or say that it was loaded again.
    #[error("frames {first} and {second} are both in holder {holder}, loading {load}")]
    HolderTwice {
        /// One frame.
        first: String,
        /// The other frame.
        second: String,
        /// The holder and side.
        holder: String,
        /// Which loading of it.
        load: u32,
    },
}

/// A sound test: every reference leads somewhere, nothing is named twice.
#[derive(Clone, Debug, PartialEq)]
pub struct Test {
    parts: TestParts,
    /// Places of frames by name.
    frame_places: BTreeMap<Id, usize>,
    /// Places of patches by frame and name.
    patch_places: BTreeMap<Id, BTreeMap<Id, usize>>,
}

fn unique<'a>(
    kind: &'static str,
    ids: impl Iterator<Item = &'a Id>,
) -> Result<BTreeSet<&'a Id>, RecordError> {
    let mut seen = BTreeSet::new();
    for id in ids {
        if !seen.insert(id) {
            return Err(RecordError::NamedTwice {
                kind,
                id: id.to_string(),
            });
        }
    }
    Ok(seen)
}

pub(crate) fn recorded(
    from: impl FnOnce() -> String,
    kind: &'static str,
    id: &Id,
    known: &BTreeSet<&Id>,
) -> Result<(), RecordError> {
    if known.contains(id) {
        return Ok(());
    }
    let names: Vec<_> = known.iter().take(12).map(|k| k.as_str()).collect();
    let known = if names.is_empty() {
        format!(" (no {kind} is)")
    } else {
        format!(" (known: {})", names.join(", "))
    };
    Err(RecordError::NotRecorded {
        from: from(),
        kind,
        id: id.to_string(),
        known,
    })
}

/// Says what is in the way of carrying a patch from a frame.
fn carrying_fault(patch: &Patch, from: &Id, patches: &[Patch]) -> Option<&'static str> {
    if matches!(patch.role, PatchRole::BaseFog | PatchRole::TabletStep(_)) {
        return Some("clear film and tablet steps do not move with the subject: outline each");
    }
    let drawn = patches
        .iter()
        .find(|p| p.frame == *from && p.name == patch.name);
    match drawn.and_then(|p| p.place.as_ref()) {
        None => Some("that frame has no outlined patch of this name"),
        Some((_, Outline::CarriedFrom(_))) => {
            Some("the patch there is carried itself: name the frame it is drawn on")
        }
        Some((_, Outline::Region(_))) => {
            Some("the patch there is a region of a map, which can't be carried: draw a polygon")
        }
        Some(_) => None,
    }
}

impl TestParts {
    /// Gives the frames that a scan shows: those whose patches lie in it; without any the
    /// one that it names, or else the one it is called like.
    #[must_use]
    pub fn frames_of_scan(&self, scan: &Scan) -> Vec<&Id> {
        let mut frames: Vec<&Id> = vec![];
        for patch in &self.patches {
            let on_it = patch.place.as_ref().is_some_and(|(on, _)| *on == scan.id);
            if on_it && !frames.contains(&&patch.frame) {
                frames.push(&patch.frame);
            }
        }
        if frames.is_empty() {
            let named = scan.frame.as_ref().unwrap_or(&scan.id);
            frames.extend(self.frames.iter().map(|f| &f.id).find(|id| *id == named));
        }
        frames
    }
}

impl Test {
    /// Checks the parts against each other and makes them a test.
    ///
    /// # Errors
    /// The first [`RecordError`] met, in the order of the parts.
    pub fn assemble(parts: TestParts) -> Result<Self, RecordError> {
        if parts.frames.is_empty() {
            // Said after what is wrong with the other records.
            Self::checked(parts)?;
            return Err(RecordError::NoFrames);
        }
        Self::checked(parts)
    }

    /// Checks the parts against each other; there may be no frames yet.
    pub(crate) fn checked(parts: TestParts) -> Result<Self, RecordError> {
        let films = unique("film", parts.films.iter().map(|r| &r.id))?;
        let filters = unique("filter", parts.filters.iter().map(|r| &r.id))?;
        let lenses = unique("lens", parts.lenses.iter().map(|r| &r.id))?;
        let lights = unique("light", parts.lights.iter().map(|r| &r.id))?;
        let processes = unique("process", parts.processes.iter().map(|r| &r.id))?;
        let tablets = unique("tablet", parts.tablets.iter().map(|r| &r.id))?;
        let scans = unique("scan", parts.scans.iter().map(|r| &r.id))?;
        let frames = unique("frame", parts.frames.iter().map(|r| &r.id))?;
        unique(
            "outside report",
            parts.outside_reports.iter().map(|r| &r.id),
        )?;
        for scan in &parts.scans {
            let from = || format!("scan {}", scan.id);
            match &scan.calibrator {
                Calibrator::Within(strip) => {
                    recorded(from, "tablet", &strip.tablet, &tablets)?;
                    let steps = parts
                        .tablets
                        .iter()
                        .find(|t| t.id == strip.tablet)
                        .map_or(0, |t| t.steps.len());
                    if !strip.steps.is_empty() && steps != strip.steps.len() {
                        return Err(RecordError::StepCount {
                            scan: scan.id.to_string(),
                            tablet: strip.tablet.to_string(),
                            outlines: strip.steps.len(),
                            steps,
                        });
                    }
                }
                Calibrator::OtherScan(other) => {
                    recorded(from, "scan", other, &scans)?;
                    let within = parts
                        .scans
                        .iter()
                        .any(|s| s.id == *other && matches!(s.calibrator, Calibrator::Within(_)));
                    if !within {
                        return Err(RecordError::CalibratorWithoutTablet {
                            scan: scan.id.to_string(),
                            other: other.to_string(),
                        });
                    }
                }
                Calibrator::None => {}
            }
            if let Some(frame) = &scan.frame {
                recorded(from, "frame", frame, &frames)?;
            }
            if let Some(other) = &scan.repeat_of {
                recorded(from, "scan", other, &scans)?;
            }
        }
        let mut holders: BTreeMap<(&str, u32), &Id> = BTreeMap::new();
        for frame in &parts.frames {
            let from = || format!("frame {}", frame.id);
            recorded(from, "film", &frame.film, &films)?;
            recorded(from, "process", &frame.process, &processes)?;
            for filter in &frame.filters {
                recorded(from, "filter", filter, &filters)?;
            }
            if let Some(holder) = &frame.holder
                && let load = frame.load.unwrap_or(1)
                && let Some(first) = holders.insert((holder, load), &frame.id)
            {
                return Err(RecordError::HolderTwice {
                    first: first.to_string(),
                    second: frame.id.to_string(),
                    holder: holder.clone(),
                    load,
                });
            }
            let mismatch = |exposure| RecordError::RoleAgainstExposure {
                frame: frame.id.to_string(),
                role: frame.role.words(),
                exposure,
            };
            match (&frame.exposure, frame.role) {
                (Exposure::None, FrameRole::Unexposed)
                | (Exposure::Tablet { .. }, FrameRole::TabletSheet) => {}
                (Exposure::None, _) => return Err(mismatch("none")),
                (Exposure::Tablet { .. }, _) => return Err(mismatch("through a tablet")),
                (Exposure::Camera(_), FrameRole::Unexposed) => {
                    return Err(mismatch("in a camera"));
                }
                (_, FrameRole::TabletSheet) => return Err(mismatch("not through a tablet")),
                _ => {}
            }
            match &frame.exposure {
                Exposure::Camera(camera) => {
                    recorded(from, "light", &camera.light, &lights)?;
                    if let Some(lens) = &camera.lens {
                        recorded(from, "lens", lens, &lenses)?;
                    }
                    if matches!(camera.bellows, Some(Bellows::Draw(_))) {
                        let focal = camera
                            .lens
                            .as_ref()
                            .and_then(|id| parts.lenses.iter().find(|l| l.id == *id)?.focal_length);
                        if focal.is_none() {
                            return Err(RecordError::DrawWithoutFocalLength {
                                frame: frame.id.to_string(),
                            });
                        }
                    }
                }
                Exposure::Tablet { tablet, .. } => recorded(from, "tablet", tablet, &tablets)?,
                Exposure::Relative(_) | Exposure::None => {}
            }
        }
        let mut named = BTreeSet::new();
        let tablet_steps: BTreeMap<&Id, usize> = parts
            .tablets
            .iter()
            .map(|t| (&t.id, t.steps.len()))
            .collect();
        let steps_of: BTreeMap<&Id, usize> = parts
            .frames
            .iter()
            .filter_map(|f| match &f.exposure {
                Exposure::Tablet { tablet, .. } => {
                    Some((&f.id, tablet_steps.get(tablet).copied()?))
                }
                _ => None,
            })
            .collect();
        for patch in &parts.patches {
            recorded(
                || format!("patch {}", patch.name),
                "frame",
                &patch.frame,
                &frames,
            )?;
            if !named.insert((&patch.frame, &patch.name)) {
                return Err(RecordError::PatchTwice {
                    frame: patch.frame.to_string(),
                    patch: patch.name.to_string(),
                });
            }
            if let Some((scan, outline)) = &patch.place {
                if let Outline::CarriedFrom(from) = outline
                    && let Some(fault) = carrying_fault(patch, from, &parts.patches)
                {
                    return Err(RecordError::NotCarried {
                        frame: patch.frame.to_string(),
                        patch: patch.name.to_string(),
                        from: from.to_string(),
                        fault,
                    });
                }
                recorded(
                    || format!("patch {} of frame {}", patch.name, patch.frame),
                    "scan",
                    scan,
                    &scans,
                )?;
            }
            if let PatchRole::TabletStep(step) = patch.role {
                let steps = steps_of.get(&patch.frame).copied().unwrap_or(0);
                if step == 0 || step as usize > steps {
                    return Err(RecordError::StepOutsideTablet {
                        frame: patch.frame.to_string(),
                        patch: patch.name.to_string(),
                        step,
                        steps,
                    });
                }
            }
        }
        for reading in &parts.readings {
            recorded(
                || format!("the reading of patch {}", reading.patch),
                "frame",
                &reading.frame,
                &frames,
            )?;
            if !named.contains(&(&reading.frame, &reading.patch)) {
                let known: BTreeSet<&Id> = parts
                    .patches
                    .iter()
                    .filter(|p| p.frame == reading.frame)
                    .map(|p| &p.name)
                    .collect();
                recorded(
                    || format!("a reading of frame {}", reading.frame),
                    "patch",
                    &reading.patch,
                    &known,
                )?;
            }
        }
        let frame_places = parts
            .frames
            .iter()
            .enumerate()
            .map(|(i, f)| (f.id.clone(), i))
            .collect();
        let mut patch_places: BTreeMap<Id, BTreeMap<Id, usize>> = BTreeMap::new();
        for (i, patch) in parts.patches.iter().enumerate() {
            patch_places
                .entry(patch.frame.clone())
                .or_default()
                .insert(patch.name.clone(), i);
        }
        Ok(Self {
            frame_places,
            patch_places,
            parts,
        })
    }

    /// Gives the parts.
    #[must_use]
    pub fn parts(&self) -> &TestParts {
        &self.parts
    }

    /// Gives the film of a frame of this test.
    #[must_use]
    pub fn film(&self, id: &Id) -> Option<&Film> {
        self.parts.films.iter().find(|r| r.id == *id)
    }

    /// Gives a filter.
    #[must_use]
    pub fn filter(&self, id: &Id) -> Option<&Filter> {
        self.parts.filters.iter().find(|r| r.id == *id)
    }

    /// Gives a lens.
    #[must_use]
    pub fn lens(&self, id: &Id) -> Option<&Lens> {
        self.parts.lenses.iter().find(|r| r.id == *id)
    }

    /// Gives a light.
    #[must_use]
    pub fn light(&self, id: &Id) -> Option<&Light> {
        self.parts.lights.iter().find(|r| r.id == *id)
    }

    /// Gives a process.
    #[must_use]
    pub fn process(&self, id: &Id) -> Option<&Process> {
        self.parts.processes.iter().find(|r| r.id == *id)
    }

    /// Gives a tablet.
    #[must_use]
    pub fn tablet(&self, id: &Id) -> Option<&Tablet> {
        self.parts.tablets.iter().find(|r| r.id == *id)
    }

    /// Gives a scan.
    #[must_use]
    pub fn scan(&self, id: &Id) -> Option<&Scan> {
        self.parts.scans.iter().find(|r| r.id == *id)
    }

    /// Gives a frame.
    #[must_use]
    pub fn frame(&self, id: &Id) -> Option<&Frame> {
        self.frame_places.get(id).map(|&i| &self.parts.frames[i])
    }

    /// Gives a patch of a frame.
    #[must_use]
    pub fn patch(&self, frame: &Id, name: &Id) -> Option<&Patch> {
        let place = self.patch_places.get(frame)?.get(name)?;
        Some(&self.parts.patches[*place])
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use quantity::{FNumber, Seconds};

    fn id(text: &str) -> Id {
        Id::new(text).unwrap()
    }

    fn parts() -> TestParts {
        TestParts {
            title: "t".into(),
            films: vec![Film {
                id: id("film"),
                name: "film".into(),
                format: None,
                box_speed: None,
                batch: None,
                expiry: None,
                reciprocity: None,
            }],
            processes: vec![Process {
                id: id("dev"),
                developer: "d".into(),
                dilution: None,
                time: None,
                temperature: None,
                agitation: None,
                remarks: None,
            }],
            lights: vec![Light {
                id: id("noon"),
                sky: Sky::ClearSun,
                place: None,
                time: None,
                meter: None,
                reading: None,
                drift: None,
                remarks: None,
            }],
            frames: vec![Frame {
                id: id("1"),
                film: id("film"),
                filters: vec![],
                process: id("dev"),
                holder: Some("3A".into()),
                load: None,
                exposed_at: None,
                role: FrameRole::Anchor,
                exposure: Exposure::Camera(CameraExposure {
                    lens: None,
                    light: id("noon"),
                    reading: None,
                    ei: None,
                    aperture: FNumber::from_ratio(16.0).unwrap(),
                    time: Time {
                        marked: Seconds::from_s(0.1).unwrap(),
                        actual: None,
                        actual_uncertainty_stops: None,
                    },
                    bellows: None,
                }),
                remarks: None,
            }],
            ..TestParts::default()
        }
    }

    #[test]
    fn sound_parts_make_a_test() {
        assert!(Test::assemble(parts()).is_ok());
    }

    #[test]
    fn a_missing_filter_is_named_with_what_is_known() {
        let mut parts = parts();
        parts.frames[0].filters.push(id("715"));
        let error = Test::assemble(parts).unwrap_err().to_string();
        assert_eq!(
            error,
            "frame 1 refers to filter 715, which is not recorded (no filter is)"
        );
    }

    #[test]
    fn one_holder_side_takes_one_frame() {
        let mut parts = parts();
        let mut second = parts.frames[0].clone();
        second.id = id("2");
        parts.frames.push(second);
        let error = Test::assemble(parts).unwrap_err();
        assert_eq!(
            error.to_string(),
            "frames 1 and 2 are both in holder 3A, loading 1"
        );
    }

    #[test]
    fn a_holder_side_that_was_loaded_again_takes_another_frame() {
        let mut parts = parts();
        let mut second = parts.frames[0].clone();
        second.id = id("2");
        second.load = Some(2);
        parts.frames.push(second);
        assert!(Test::assemble(parts.clone()).is_ok());
        parts.frames[0].load = Some(2);
        assert!(Test::assemble(parts).is_err());
    }

    #[test]
    fn a_patch_is_carried_only_from_a_drawn_one() {
        let carried = |role, from: &str, drawn: Option<Outline>| {
            let mut parts = parts();
            let mut second = parts.frames[0].clone();
            second.id = id("2");
            second.holder = None;
            parts.frames.push(second);
            // The carried one first: what is wrong with it is then told first.
            let carried = Outline::CarriedFrom(id(from));
            for (frame, outline) in [("2", Some(carried)), ("1", drawn)] {
                parts.patches.push(Patch {
                    frame: id(frame),
                    name: id("card"),
                    role,
                    place: outline.map(|outline| (id("not-recorded"), outline)),
                });
            }
            Test::assemble(parts).unwrap_err()
        };
        let refused = |error: RecordError, words: &str| {
            let text = error.to_string();
            assert!(
                matches!(error, RecordError::NotCarried { .. }) && text.contains(words),
                "{text}"
            );
        };
        let square = Outline::Rectangle {
            x: 1,
            y: 1,
            width: 9,
            height: 9,
        };
        let card = PatchRole::GreyCard;
        refused(carried(card, "1", None), "no outlined patch");
        refused(carried(card, "2", None), "carried itself");
        refused(
            carried(PatchRole::BaseFog, "1", Some(square.clone())),
            "do not move with the subject",
        );
        // A sound pair fails only by its scan.
        let sound = carried(card, "1", Some(square));
        assert!(
            matches!(sound, RecordError::NotRecorded { kind: "scan", .. }),
            "{sound}"
        );
    }

    #[test]
    fn two_patches_of_one_name_are_refused() {
        let mut parts = parts();
        for _ in 0..2 {
            parts.patches.push(Patch {
                frame: id("1"),
                name: id("card"),
                role: PatchRole::GreyCard,
                place: None,
            });
        }
        let error = Test::assemble(parts).unwrap_err().to_string();
        assert_eq!(error, "frame 1 has two patches named card");
    }

    #[test]
    fn a_tablet_sheet_is_exposed_through_a_tablet() {
        let mut parts = parts();
        parts.frames[0].role = FrameRole::TabletSheet;
        let error = Test::assemble(parts).unwrap_err().to_string();
        assert!(error.contains("tablet sheet"), "{error}");
    }
}
