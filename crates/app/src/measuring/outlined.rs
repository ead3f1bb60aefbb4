//! What is outlined in a scan: patches of frames, then the steps of its tablet.

use super::recorded_outline::outline_of;
use crate::AppError;
use negative::outline::Outline;
use notebook::TestFolder;
use record::{Calibrator, Id, Patch, Scan, TabletStrip};

/// Outlines of a scan in the order in which they are measured.
pub(super) struct Outlined<'a> {
    /// All of them, patches first.
    pub(super) outlines: Vec<Outline>,
    /// What each is, in words.
    pub(super) names: Vec<String>,
    /// Frame and name of each patch.
    pub(super) patches: Vec<(Id, Id)>,
    /// The tablet whose steps follow the patches.
    pub(super) strip: Option<&'a TabletStrip>,
}

impl<'a> Outlined<'a> {
    /// Gathers the outlines of a scan; patches that are still to be carried are left out.
    pub(super) fn of(folder: &'a TestFolder, scan: &'a Scan) -> Result<Self, AppError> {
        let strip = match &scan.calibrator {
            // A strip without outlines was looked for and not found.
            Calibrator::Within(strip) if !strip.steps.is_empty() => Some(strip),
            _ => None,
        };
        let mut outlined = Self {
            outlines: vec![],
            names: vec![],
            patches: vec![],
            strip,
        };
        for (patch, outline) in patches_on(folder, scan) {
            let name = format!("patch {} of frame {}", patch.name, patch.frame);
            outlined.add(scan, name, outline)?;
            outlined
                .patches
                .push((patch.frame.clone(), patch.name.clone()));
        }
        if let Some(strip) = strip {
            for (number, outline) in numbered_steps(strip) {
                let name = format!("step {number} of tablet {}", strip.tablet);
                outlined.add(scan, name, outline)?;
            }
        }
        Ok(outlined)
    }

    /// Outlines of the tablet's steps.
    pub(super) fn steps(&self) -> &[Outline] {
        &self.outlines[self.patches.len()..]
    }

    fn add(
        &mut self,
        scan: &Scan,
        name: String,
        outline: &record::Outline,
    ) -> Result<(), AppError> {
        let outline = outline_of(outline).map_err(|e| {
            AppError::new(
                format!("scan {}, {name}: {e}", scan.id),
                "number the regions from 1 to 255",
            )
        })?;
        self.names.push(name);
        self.outlines.push(outline);
        Ok(())
    }
}

fn patches_on<'a>(
    folder: &'a TestFolder,
    scan: &'a Scan,
) -> impl Iterator<Item = (&'a Patch, &'a record::Outline)> {
    let patches = folder.test.parts().patches.iter();
    patches.filter_map(|patch| match &patch.place {
        Some((_, record::Outline::CarriedFrom(_))) | None => None,
        Some((on, outline)) => (*on == scan.id).then_some((patch, outline)),
    })
}

/// Steps that can be read, with their numbers, from 1.
pub(super) fn numbered_steps(
    strip: &TabletStrip,
) -> impl Iterator<Item = (usize, &record::Outline)> {
    (1..)
        .zip(&strip.steps)
        .filter_map(|(number, outline)| outline.as_ref().map(|outline| (number, outline)))
}
