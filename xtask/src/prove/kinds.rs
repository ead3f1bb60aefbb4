//! The kinds of test that the estimate is proved on.
//!
//! Each kind is a plan that tests are drawn from and the assumptions that the
//! estimate is given. A well-specified kind is given the very sizes it draws
//! from; a mis-specified one holds something that no assumption names.

use findings::Assumptions;
use testkit::{
    GradientChange, Placement, Plan, RecordedLaw, THRESHOLD_NET_DENSITY, Tails, Times, Timing,
};

/// Whether the estimate is told the sizes that errors are drawn from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Specified {
    /// Every size is the one drawn from.
    Well,
    /// Something is not as the estimate assumes.
    Mis,
}

/// One kind of test.
#[derive(Clone, Debug)]
pub(crate) struct Kind {
    /// How it is called in the table and on the command line.
    pub(crate) letter: &'static str,
    /// What it is, with the split of its sheets.
    pub(crate) what: &'static str,
    pub(crate) specified: Specified,
    pub(crate) plan: Plan,
    pub(crate) assumptions: Assumptions,
    /// Largest root mean square error asked for, stops.
    pub(crate) rmse_at_most: Option<f64>,
    /// Largest share of the error by eye.
    pub(crate) share_of_eye: Option<f64>,
    /// Whether the answer is meant to be a bound.
    pub(crate) one_sided: bool,
}

/// Gives the assumptions that are true of a plan.
fn true_of(plan: &Plan) -> Assumptions {
    let mut a = Assumptions {
        aperture_stops: plan.aperture,
        frame_stops: plan.frame,
        reading_stops: plan.light,
        meter_bias_stops: plan.meter_bias,
        grey_card_stops: plan.card,
        subject_stops: plan.subject,
        coloured_patch_stops: plan.departure,
        development_share: plan.development,
        base_density: plan.base,
        box_speed_stops: plan.box_speed,
        // Three standard deviations of a difference of two readings, 0.012 each.
        detection_density: THRESHOLD_NET_DENSITY,
        // The formula is the one drawn from. Not zero, which no size may be.
        curve_misfit_density: 1e-6,
        filter_gradient_share: 1e-4,
        ..Assumptions::COMMON_PRACTICE
    };
    if let GradientChange::Normal(sd) = plan.gradient {
        a.filter_gradient_share = sd;
    }
    if let Timing::Marked(sd) = plan.timing {
        a.marked_time_stops = sd;
    }
    if let Times::Long {
        law: RecordedLaw::None,
        loss_sd,
        ..
    } = plan.times
    {
        a.unstated_reciprocity_stops_per_decade = loss_sd;
    }
    a
}

fn well(letter: &'static str, what: &'static str, plan: Plan) -> Kind {
    Kind {
        letter,
        what,
        specified: Specified::Well,
        assumptions: true_of(&plan),
        plan,
        rmse_at_most: None,
        share_of_eye: None,
        one_sided: false,
    }
}

fn mis(letter: &'static str, what: &'static str, plan: Plan) -> Kind {
    Kind {
        specified: Specified::Mis,
        ..well(letter, what, plan)
    }
}

/// Gives every kind, in the order of the table.
pub(crate) fn all() -> Vec<Kind> {
    let measured = Plan::SIX_SHEETS_MEASURED;
    let marked = Plan {
        timing: Timing::Marked(0.30),
        frame: 0.10,
        ..measured
    };
    let long = |law, loss_mean, loss_sd, bent, equal_time_pair| Plan {
        times: Times::Long {
            law,
            loss_mean,
            loss_sd,
            bent,
            equal_time_pair,
        },
        factor_stops: (6.0, 8.0),
        ..measured
    };
    vec![
        Kind {
            rmse_at_most: Some(0.10),
            share_of_eye: Some(0.45),
            ..well(
                "a",
                "six sheets, times measured: 3 anchors + 3 filtered",
                measured,
            )
        },
        Kind {
            rmse_at_most: Some(0.10),
            ..well(
                "a10",
                "as a, frame errors of 0.10 stop in place of 0.15",
                Plan {
                    // 0.08² + 0.06² = 0.10².
                    frame: 0.08,
                    timing: Timing::EachMeasured(0.06),
                    ..measured
                },
            )
        },
        Kind {
            rmse_at_most: Some(0.10),
            ..well(
                "a12",
                "as a, twelve sheets: 6 anchors + 6 filtered",
                Plan {
                    anchors: 6,
                    filtered: 6,
                    ..measured
                },
            )
        },
        Kind {
            rmse_at_most: Some(0.20),
            share_of_eye: Some(0.45),
            ..well(
                "b",
                "three sheets, times measured: 1 anchor + 2 filtered",
                Plan {
                    anchors: 1,
                    filtered: 2,
                    ..measured
                },
            )
        },
        Kind {
            share_of_eye: Some(0.45),
            ..well("c", "six sheets, marked times only: 3 + 3", marked)
        },
        Kind {
            one_sided: true,
            ..well(
                "d",
                "as c, every filtered frame blank: 3 + 3",
                Plan {
                    placement: Placement::AllBlank(0.2, 4.0),
                    card_and_shadow_only: true,
                    ..marked
                },
            )
        },
        well(
            "e",
            "as a, best frame at the end of the bracket: 3 + 3",
            Plan {
                placement: Placement::AtTheEnd,
                ..measured
            },
        ),
        mis(
            "f",
            "as c, one release 1.5 to 2.5 stops off: 3 + 3",
            Plan {
                outlier_stops: Some((1.5, 2.5)),
                ..marked
            },
        ),
        well(
            "g",
            "as a, gradient behind the filter off by 5 % (normal): 3 + 3",
            Plan {
                gradient: GradientChange::Normal(0.05),
                ..measured
            },
        ),
        Kind {
            assumptions: Assumptions {
                filter_gradient_share: Assumptions::COMMON_PRACTICE.filter_gradient_share,
                ..true_of(&marked)
            },
            ..mis(
                "g2",
                "as c, gradient off by up to 10 % (even), 6 % assumed: 3 + 3",
                Plan {
                    gradient: GradientChange::Even(0.10),
                    ..marked
                },
            )
        },
        well(
            "h",
            "as a, two lights, in each 1 anchor + 2 filtered",
            Plan {
                lights: 2,
                anchors: 1,
                filtered: 2,
                ..measured
            },
        ),
        well(
            "i",
            "times beyond 1 s, no law recorded, no equal-time pair: 3 + 3",
            long(RecordedLaw::None, 0.6, 0.6, false, false),
        ),
        well(
            "i2",
            "as i, with an equal-time pair: 3 + 3 of which one pair",
            long(RecordedLaw::None, 0.6, 0.6, false, true),
        ),
        well(
            "i3",
            "as i, a law recorded with its uncertainty, and off by as much",
            long(RecordedLaw::Power(1.25, 0.30), 0.0, 0.30, false, false),
        ),
        mis(
            "i4",
            "as i3 with a pair, the true law of another form",
            long(RecordedLaw::Power(1.25, 0.30), 0.0, 0.30, true, true),
        ),
        well(
            "j",
            "as a, no anchor: 6 filtered",
            Plan {
                anchors: 0,
                filtered: 6,
                ..measured
            },
        ),
        Kind {
            assumptions: Assumptions {
                curve_misfit_density: Assumptions::COMMON_PRACTICE.curve_misfit_density,
                ..true_of(&marked)
            },
            ..mis(
                "k",
                "as c, a curve that sags in its line by a quarter: 3 + 3",
                Plan {
                    sag: 0.25,
                    ..marked
                },
            )
        },
        mis(
            "l",
            "as c, heavy-tailed errors of frames and marks: 3 + 3",
            Plan {
                tails: Tails::Heavy,
                ..marked
            },
        ),
    ]
}
