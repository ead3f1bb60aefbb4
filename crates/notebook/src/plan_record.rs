//! Tables of `plan.toml` as planned frames, and back.

use crate::keys::{At, Required, TablePlace, inline};
use crate::plan_format::{Load, PLAN_FORMAT, PlanTable, PlannedTable};
use crate::to_record::Conversion;
use record::{Bellows, FrameRole, PlannedCamera, PlannedExposure, PlannedFrame, PlannedTime};
use sha2::{Digest, Sha256};

impl Conversion<'_> {
    /// Makes the planned frames; what is at fault becomes a problem.
    pub(crate) fn planned(&mut self, table: PlanTable) -> Vec<PlannedFrame> {
        table
            .planned
            .into_iter()
            .filter_map(|t| self.planned_frame(t))
            .collect()
    }

    fn planned_frame(&mut self, table: PlannedTable) -> Option<PlannedFrame> {
        let exposure = self.planned_exposure(&table);
        let id = self.name("planned frame", table.id.0);
        let from = format!("planned frame {id}");
        let film = self.refer(&from, "film", table.film.0);
        let process = self.refer(&from, "process", table.process.0);
        let filters = table
            .filters
            .into_iter()
            .map(|filter| self.refer(&from, "filter", filter))
            .collect();
        for (kind, id) in [
            ("light", table.light),
            ("lens", table.lens),
            ("tablet", table.tablet),
        ] {
            if let Some(id) = id {
                self.refer(&from, kind, id);
            }
        }
        Some(PlannedFrame {
            id,
            film,
            filters,
            process,
            holder: table.holder,
            load: table.load.map(|load| load.0),
            role: table.role.0,
            exposure: exposure?,
            why: table.why,
            remarks: table.remarks,
        })
    }

    fn planned_exposure(&mut self, table: &PlannedTable) -> Option<PlannedExposure> {
        let id = &table.id.0.value;
        let span = &table.span.0;
        let camera = [
            ("light", table.light.is_some()),
            ("ei", table.ei.is_some()),
            ("aperture_f", table.aperture_f.is_some()),
            ("time_marked_s", table.time_marked_s.is_some()),
        ];
        let more = table.lens.is_some()
            || table.time_metered_s.is_some()
            || table.time_corrected_s.is_some()
            || table.reciprocity_law.is_some()
            || table.magnification.is_some()
            || table.bellows_draw_mm.is_some();
        let in_camera = more || camera.iter().any(|(_, there)| *there);
        if let Some(tablet) = &table.tablet {
            if in_camera {
                self.problem(
                    &tablet.span,
                    format!("planned frame {id} has both `tablet` and keys of a camera"),
                    "one way of exposure: in a camera, or through a tablet",
                    "remove the keys of the other way",
                );
                return None;
            }
            return Some(PlannedExposure::Tablet(tablet.value.clone()));
        }
        if !in_camera && table.role.0 == FrameRole::Unexposed {
            return Some(PlannedExposure::None);
        }
        for (key, there) in camera {
            if !there {
                self.problem(
                    span,
                    format!("planned frame {id} has no key `{key}`"),
                    "light, ei, aperture_f and time_marked_s for a camera; or tablet; or role = \"unexposed\"",
                    "add the key",
                );
            }
        }
        let bellows = match (table.magnification, &table.bellows_draw_mm) {
            (Some(_), Some(draw)) => {
                self.problem(
                    &draw.span,
                    format!("planned frame {id} has both `magnification` and `bellows_draw_mm`"),
                    "one of the two",
                    "keep the one that was measured",
                );
                None
            }
            (Some(magnification), None) => Some(Bellows::Magnification(magnification)),
            (None, Some(draw)) => Some(Bellows::Draw(draw.value)),
            (None, None) => None,
        };
        Some(PlannedExposure::Camera(PlannedCamera {
            lens: table.lens.as_ref().map(|at| at.value.clone()),
            light: table.light.as_ref()?.value.clone(),
            ei: table.ei?,
            aperture: table.aperture_f?,
            time: PlannedTime {
                marked: table.time_marked_s?,
                metered: table.time_metered_s,
                corrected: table.time_corrected_s,
                law: table.reciprocity_law.clone(),
            },
            bellows,
        }))
    }
}

/// Makes the table of a plan.
pub(crate) fn plan_table(planned: &[PlannedFrame]) -> PlanTable {
    PlanTable {
        span: TablePlace::default(),
        format: Required(PLAN_FORMAT),
        remarks: None,
        planned: planned.iter().map(planned_table).collect(),
    }
}

fn planned_table(frame: &PlannedFrame) -> PlannedTable {
    let at = |id: &record::Id| At::nowhere(id.clone());
    let mut table = PlannedTable {
        span: TablePlace::default(),
        id: Required(at(&frame.id)),
        film: Required(at(&frame.film)),
        filters: frame.filters.iter().map(at).collect(),
        process: Required(at(&frame.process)),
        holder: frame.holder.clone(),
        load: frame.load.map(Load),
        role: Required(frame.role),
        lens: None,
        light: None,
        ei: None,
        aperture_f: None,
        time_marked_s: None,
        time_metered_s: None,
        time_corrected_s: None,
        reciprocity_law: None,
        magnification: None,
        bellows_draw_mm: None,
        tablet: None,
        why: frame.why.clone(),
        remarks: frame.remarks.clone(),
    };
    match &frame.exposure {
        PlannedExposure::Camera(camera) => {
            table.lens = camera.lens.as_ref().map(at);
            table.light = Some(at(&camera.light));
            table.ei = Some(camera.ei);
            table.aperture_f = Some(camera.aperture);
            table.time_marked_s = Some(camera.time.marked);
            table.time_metered_s = camera.time.metered;
            table.time_corrected_s = camera.time.corrected;
            table.reciprocity_law.clone_from(&camera.time.law);
            match camera.bellows {
                Some(Bellows::Magnification(m)) => table.magnification = Some(m),
                Some(Bellows::Draw(draw)) => table.bellows_draw_mm = Some(At::nowhere(draw)),
                None => {}
            }
        }
        PlannedExposure::Tablet(tablet) => table.tablet = Some(at(tablet)),
        PlannedExposure::None => {}
    }
    table
}

/// Gives the checksum by which a field log knows its plan: SHA-256, 64 hex
/// digits, of the planned frames as they are written on one line each.
/// Comments and the order of keys in `plan.toml` do not change it.
#[must_use]
pub fn plan_hash(planned: &[PlannedFrame]) -> String {
    let mut hash = Sha256::new();
    for frame in planned {
        hash.update(inline(crate::keys::Field::written(&planned_table(frame))));
        hash.update(b"\n");
    }
    hash.finalize().iter().map(|b| format!("{b:02x}")).collect()
}
