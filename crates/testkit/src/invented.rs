//! Invented film, filters, lens, light, process and tablet of made tests.
//!
//! No name here is, or can be taken for, a maker's.

use crate::made;
use crate::noise::Draws;
use quantity::{Celsius, FilterFactor, Measured, Millimetres, Nanometres, PupilRatio, Stops};
use record::{
    Edge, EdgeLevel, Film, Filter, Lens, Light, LightReading, MeasuredTime, Meter, MeterCell,
    MeterMode, Process, ReciprocityRecord, Shutter, Sky, StatedFactor, Tablet,
};

pub(crate) fn film(reciprocity_power: f64, sd_stops_per_decade: f64) -> Film {
    Film {
        id: made::id("pan"),
        name: "Invented Pan 100".into(),
        format: Some("4x5 in sheet".into()),
        box_speed: Some(made::index(100.0)),
        batch: Some("invented batch 7".into()),
        expiry: None,
        reciprocity: Some(ReciprocityRecord {
            law: format!("power:{reciprocity_power}"),
            source: "invented data sheet".into(),
            uncertainty_stops_per_decade: Some(sd_stops_per_decade),
            extrapolate: false,
        }),
    }
}

pub(crate) fn filters() -> Vec<Filter> {
    let edge = |nm| {
        Nanometres::from_nm(nm).ok().map(|wavelength| Edge {
            wavelength,
            level: EdgeLevel::HalfTransmittance,
        })
    };
    vec![
        Filter {
            id: made::id("r715"),
            name: "R-715 (invented)".into(),
            marking: Some("R 715".into()),
            edge: edge(715.0),
            stated_factor: FilterFactor::from_ratio(32.0)
                .ok()
                .map(|factor| StatedFactor {
                    factor,
                    basis: "invented leaflet; film and light not named".into(),
                }),
        },
        Filter {
            id: made::id("red"),
            name: "Plain red 600 (invented)".into(),
            marking: None,
            edge: edge(600.0),
            stated_factor: None,
        },
    ]
}

pub(crate) fn lens(marked_uncertainty_stops: f64, measured: Vec<MeasuredTime>) -> Lens {
    Lens {
        id: made::id("lens"),
        name: "150 mm (invented)".into(),
        focal_length: Millimetres::from_mm(150.0).ok(),
        pupil_ratio: PupilRatio::from_ratio(1.0).ok(),
        shutter: Shutter {
            marked_uncertainty: Some(made::stops(marked_uncertainty_stops)),
            measured,
        },
    }
}

pub(crate) fn light(name: &str, sky: Sky, time: &str, ev100: f64, drift_stops: f64) -> Light {
    Light {
        id: made::id(name),
        sky,
        place: Some("Invented Heath".into()),
        time: Some(time.into()),
        meter: Some(Meter {
            name: Some("invented hand meter".into()),
            mode: MeterMode::Incident,
            cell: MeterCell::Silicon,
            target: Some("grey card".into()),
            placement: Stops::ZERO,
            through_filter: false,
        }),
        reading: Some(LightReading::Ev100(made::ev100(ev100))),
        drift: Some(made::stops(drift_stops)),
        remarks: None,
    }
}

pub(crate) fn process() -> Process {
    Process {
        id: made::id("tank"),
        developer: "Invented developer".into(),
        dilution: Some("1+50".into()),
        time: Some(made::seconds(660.0)),
        temperature: Celsius::from_c(20.0).ok(),
        agitation: Some("5 s each 30 s".into()),
        remarks: Some("all sheets together".into()),
    }
}

/// A step tablet of 21 steps as it is and as its certificate says.
pub(crate) struct TrueTablet {
    pub(crate) densities: Vec<f64>,
    pub(crate) record: Tablet,
}

impl TrueTablet {
    pub(crate) fn new(draws: &mut Draws) -> Self {
        let densities: Vec<f64> = (0..21)
            .map(|step| 0.05 + 0.15 * f64::from(step) + draws.normal(0.012))
            .collect();
        let steps = densities
            .iter()
            .map(|d| {
                // Printed to 0.01, which adds 0.003 to the 0.006 of the measurement.
                let printed = made::rounded(d + draws.normal(0.006), 2);
                Measured::new(made::density(printed), 0.007)
            })
            .collect();
        Self {
            densities,
            record: Tablet {
                id: made::id("tablet"),
                serial: Some("invented 0001".into()),
                certified: true,
                steps,
            },
        }
    }
}
