//! A test that is planned: the frames that are to be exposed.
//!
//! A planned frame is a type of its own, so that it can never be taken for one
//! that was exposed: nothing that evaluates a [`Test`] sees it.

use crate::{Bellows, Frame, FrameRole, Id, RecordError, Test, TestParts};
use quantity::{ExposureIndex, FNumber, Seconds};
use std::collections::{BTreeMap, BTreeSet};

/// The time that a planned frame needs, before and after reciprocity.
#[derive(Clone, Debug, PartialEq)]
pub struct PlannedTime {
    /// The time to set on the shutter or to count, as the mark says.
    pub marked: Seconds,
    /// The time that reading, EI, filters and bellows ask for; `None` when not stated.
    pub metered: Option<Seconds>,
    /// The metered time corrected by the law; `None` when no law applied.
    pub corrected: Option<Seconds>,
    /// The reciprocity law as text, `power:1.31`.
    pub law: Option<String>,
}

/// A planned exposure in a camera.
#[derive(Clone, Debug, PartialEq)]
pub struct PlannedCamera {
    /// Lens and shutter.
    pub lens: Option<Id>,
    /// The light it is planned for.
    pub light: Id,
    /// EI to set on the meter that reads without the filter: the filter's factor is in it.
    pub ei: ExposureIndex,
    /// Aperture as marked.
    pub aperture: FNumber,
    /// Time.
    pub time: PlannedTime,
    /// Close focus.
    pub bellows: Option<Bellows>,
}

/// How a planned frame is to get its light.
#[derive(Clone, Debug, PartialEq)]
pub enum PlannedExposure {
    /// In a camera.
    Camera(PlannedCamera),
    /// Through a step tablet in contact.
    Tablet(Id),
    /// Not at all: it is loaded and developed only.
    None,
}

/// A frame that is to be made.
#[derive(Clone, Debug, PartialEq)]
pub struct PlannedFrame {
    /// Name, which the exposed frame will have.
    pub id: Id,
    /// Film.
    pub film: Id,
    /// Filters, in order; empty for none.
    pub filters: Vec<Id>,
    /// Process that is to develop it.
    pub process: Id,
    /// Holder and side, as written.
    pub holder: Option<String>,
    /// Which loading of that holder side, counted from 1; `None` is the first.
    pub load: Option<u32>,
    /// What it is for.
    pub role: FrameRole,
    /// How it is to get its light.
    pub exposure: PlannedExposure,
    /// Why it is in the plan.
    pub why: Option<String>,
    /// Anything else.
    pub remarks: Option<String>,
}

/// A sound test folder's records with a sound plan: every reference leads
/// somewhere, no frame and no loading of a holder is planned twice. It may have
/// no exposed frame yet.
#[derive(Clone, Debug, PartialEq)]
pub struct PlannedTest {
    records: Test,
    planned: Vec<PlannedFrame>,
}

impl PlannedTest {
    /// Checks records and plan against each other.
    ///
    /// A planned frame may already be exposed; then the exposed one has its name.
    ///
    /// # Errors
    /// The first [`RecordError`] met: those of [`Test::assemble`] but for a test
    /// without frames, then those of the planned frames in their order.
    pub fn assemble(parts: TestParts, planned: Vec<PlannedFrame>) -> Result<Self, RecordError> {
        let records = Test::checked(parts)?;
        check(records.parts(), &planned)?;
        Ok(Self { records, planned })
    }

    /// Gives the records: films, lenses, lights, and frames that are exposed already, if any.
    #[must_use]
    pub fn records(&self) -> &Test {
        &self.records
    }

    /// Gives the planned frames in the order they are to be made.
    #[must_use]
    pub fn planned(&self) -> &[PlannedFrame] {
        &self.planned
    }

    /// Gives the exposed frame of a planned one's name.
    #[must_use]
    pub fn exposed(&self, id: &Id) -> Option<&Frame> {
        self.records.frame(id)
    }
}

fn check(parts: &TestParts, planned: &[PlannedFrame]) -> Result<(), RecordError> {
    if planned.is_empty() {
        return Err(RecordError::NothingPlanned);
    }
    let mut seen = BTreeSet::new();
    let mut holders: BTreeMap<(&str, u32), &Id> = parts
        .frames
        .iter()
        .filter_map(|f| Some(((f.holder.as_deref()?, f.load.unwrap_or(1)), &f.id)))
        .collect();
    for frame in planned {
        if !seen.insert(&frame.id) {
            return Err(RecordError::NamedTwice {
                kind: "planned frame",
                id: frame.id.to_string(),
            });
        }
        let known = |kind: &'static str, id: &Id, ids: Vec<&Id>| {
            crate::test::recorded(
                || format!("planned frame {}", frame.id),
                kind,
                id,
                &ids.into_iter().collect(),
            )
        };
        known("film", &frame.film, ids(&parts.films, |r| &r.id))?;
        known("process", &frame.process, ids(&parts.processes, |r| &r.id))?;
        for filter in &frame.filters {
            known("filter", filter, ids(&parts.filters, |r| &r.id))?;
        }
        if let Some(holder) = &frame.holder {
            let load = frame.load.unwrap_or(1);
            if let Some(first) = holders.insert((holder, load), &frame.id)
                && *first != frame.id
            {
                return Err(RecordError::HolderTwice {
                    first: first.to_string(),
                    second: frame.id.to_string(),
                    holder: holder.clone(),
                    load,
                });
            }
        }
        let mismatch = |exposure| RecordError::RoleAgainstExposure {
            frame: frame.id.to_string(),
            role: frame.role.words(),
            exposure,
        };
        match (&frame.exposure, frame.role) {
            (PlannedExposure::None, FrameRole::Unexposed)
            | (PlannedExposure::Tablet(_), FrameRole::TabletSheet) => {}
            (PlannedExposure::None, _) => return Err(mismatch("none")),
            (PlannedExposure::Tablet(_), _) => return Err(mismatch("through a tablet")),
            (PlannedExposure::Camera(_), FrameRole::Unexposed) => {
                return Err(mismatch("in a camera"));
            }
            (_, FrameRole::TabletSheet) => return Err(mismatch("not through a tablet")),
            _ => {}
        }
        match &frame.exposure {
            PlannedExposure::Camera(camera) => {
                known("light", &camera.light, ids(&parts.lights, |r| &r.id))?;
                if let Some(lens) = &camera.lens {
                    known("lens", lens, ids(&parts.lenses, |r| &r.id))?;
                }
                if matches!(camera.bellows, Some(Bellows::Draw(_))) {
                    let lens = camera.lens.as_ref();
                    let lens = lens.and_then(|id| parts.lenses.iter().find(|l| l.id == *id));
                    if lens.and_then(|l| l.focal_length).is_none() {
                        return Err(RecordError::DrawWithoutFocalLength {
                            frame: frame.id.to_string(),
                        });
                    }
                }
            }
            PlannedExposure::Tablet(tablet) => {
                known("tablet", tablet, ids(&parts.tablets, |r| &r.id))?;
            }
            PlannedExposure::None => {}
        }
    }
    Ok(())
}

fn ids<T>(records: &[T], id: impl Fn(&T) -> &Id) -> Vec<&Id> {
    records.iter().map(id).collect()
}
