//! The keys of `plan.toml`: the frames that are to be exposed.
//!
//! A planned frame stands under its own title, so that it is never taken for
//! an exposed one, also when lines are copied from one file into the other.

use crate::keys::{At, Field, Reader, Required, What, Written, tables};
use quantity::{ExposureIndex, FNumber, Magnification, Millimetres, Seconds};
use record::{FrameRole, Id};
use serde_json::{Value, json};
use toml::Spanned;
use toml::de::DeValue;

/// The version of `plan.toml` that this room reads and writes.
pub(crate) const PLAN_FORMAT: u32 = 1;

tables! {
    /// The frames that are to be exposed, beside the record they refer to.
    PlanTable "the top of the file" {
        /// Version of this format: 1.
        format: Required<u32>,
        /// Anything about the plan as a whole.
        remarks: Option<String>,
        /// Frames to be exposed, in the order they are to be made.
        planned: Vec<PlannedTable>,
    }

    /// A frame that is to be exposed. What it refers to stands in test.toml.
    PlannedTable "[[planned]]" {
        /// Name, which the exposed frame will have.
        id: Required<At<Id>>,
        /// Film.
        film: Required<At<Id>>,
        /// Filters, in order. Left out: none.
        filters: Vec<At<Id>>,
        /// Process that is to develop it.
        process: Required<At<Id>>,
        /// Holder and side, as written: "3A".
        holder: Option<String>,
        /// Which loading of that holder side, counted from 1. Left out: 1.
        load: Option<Load>,
        /// What it is for.
        role: Required<FrameRole>,
        /// In a camera: lens and shutter.
        lens: Option<At<Id>>,
        /// In a camera: the light it is planned for. Needed.
        light: Option<At<Id>>,
        /// In a camera: EI to set on a meter that reads without the filter; the filter's factor is in it. Needed.
        ei: Option<ExposureIndex>,
        /// In a camera: aperture as marked. Needed.
        aperture_f: Option<FNumber>,
        /// In a camera: time to set on the shutter, or to count. Needed.
        time_marked_s: Option<Seconds>,
        /// The time that reading, EI and bellows ask for, before reciprocity.
        time_metered_s: Option<Seconds>,
        /// The metered time, corrected by the law.
        time_corrected_s: Option<Seconds>,
        /// The reciprocity law, as in a film's record. Left out: that of the film.
        reciprocity_law: Option<String>,
        /// Close focus: image size over object size.
        magnification: Option<Magnification>,
        /// Close focus: lens to film; the lens's focal length must be known.
        bellows_draw_mm: Option<At<Millimetres>>,
        /// Through a step tablet in contact: the tablet.
        tablet: Option<At<Id>>,
        /// Why the frame is in the plan.
        why: Option<String>,
        /// Anything else.
        remarks: Option<String>,
    }
}

/// Which loading of a holder side, counted from 1.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Load(pub(crate) u32);

impl Field for Load {
    fn expected() -> String {
        "a whole number, 1 or more: which loading of the holder side".to_owned()
    }
    fn schema() -> Value {
        json!({ "type": "integer", "minimum": 1, "maximum": u32::MAX })
    }
    fn read(value: &Spanned<DeValue<'_>>, what: &What, reader: &mut Reader<'_>) -> Option<Self> {
        let load = u32::read(value, what, reader)?;
        if load == 0 {
            reader.problem(
                &value.span(),
                format!("`{}` of {} is 0", what.key, what.table),
                Self::expected(),
                "write 1 for the first loading, 2 for the next",
            );
            return None;
        }
        Some(Self(load))
    }
    fn written(&self) -> Written {
        Written::Inline(self.0.to_string())
    }
}
