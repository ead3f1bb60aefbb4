//! Uneven light read off the rebate and the bare light of made scans; the field that
//! each was made with is known in closed form.

use negative::bare_light::{LightUnseen, UnevenLight, uneven_light};
use negative::frame_edges::find_frame;
use negative::honesty::{light_of_scan, uneven_light_finding};
use negative::preview::Preview;
use testkit::{FrameFlaw, FrameScan, frame_scan};

fn light_in(picture: &Preview) -> Result<UnevenLight, LightUnseen> {
    uneven_light(picture, &find_frame(picture))
}

/// The scan over another field of light, given from −1 to 1 along both sides.
fn shaded(scan: &FrameScan, field: impl Fn(f64, f64) -> f64) -> Preview {
    let (width, height) = (scan.width, scan.height);
    let signal = scan.signal.iter().enumerate().map(|(i, signal)| {
        let x = ((i % width) as f64 + 0.5) / width as f64 * 2.0 - 1.0;
        let y = ((i / width) as f64 + 0.5) / height as f64 * 2.0 - 1.0;
        (f64::from(*signal) * field(x, y)).min(1.0) as f32
    });
    Preview {
        width: width as u32,
        height: height as u32,
        left: 0,
        top: 0,
        box_side: 2,
        signal: signal.collect(),
        tone_known: true,
    }
}

/// Difference of log10 of light over the rebate of the sides that were read, and over
/// the light beyond it where that was read too.
fn truth(scan: &FrameScan, light: &UnevenLight, field: &dyn Fn(f64, f64) -> f64) -> f64 {
    let [a, b, c, d] = scan.corners;
    let size = (scan.width as f64, scan.height as f64);
    let mut logs = vec![];
    for side in &light.sides {
        // Room from the side to the end of the scan, and the way there.
        let (from, to, way, room) = match side.word() {
            "left" => (a, d, (-1.0, 0.0), (a.0 + d.0) / 2.0),
            "top" => (a, b, (0.0, -1.0), (a.1 + b.1) / 2.0),
            "right" => (b, c, (1.0, 0.0), size.0 - (b.0 + c.0) / 2.0),
            _ => (d, c, (0.0, 1.0), size.1 - (c.1 + d.1) / 2.0),
        };
        let beyond = (room + scan.rebate_width) / 2.0;
        let read_beyond = light.light_places > 0 && room - scan.rebate_width > 10.0;
        for out in core::iter::once(scan.rebate_width / 2.0).chain(read_beyond.then_some(beyond)) {
            for k in 1..20 {
                let part = f64::from(k) / 20.0;
                let x = from.0 + part * (to.0 - from.0) + out * way.0;
                let y = from.1 + part * (to.1 - from.1) + out * way.1;
                let (u, v) = (x / size.0, y / size.1);
                let lamp = 1.0 + scan.lamp.0 * (u - 0.5) + scan.lamp.1 * (v - 0.5);
                logs.push((lamp * field(2.0 * u - 1.0, 2.0 * v - 1.0)).log10());
            }
        }
    }
    let most = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    most - logs.iter().copied().fold(f64::INFINITY, f64::min)
}

#[test]
fn even_light_raises_no_alarm_and_is_measured_as_it_is() {
    let (mut read, mut worst) = (0, 0.0_f64);
    let draws = 700..715;
    let count = draws.clone().count();
    for draw in draws {
        let scan = frame_scan(draw, FrameFlaw::None);
        let Ok(light) = light_in(&shaded(&scan, |_, _| 1.0)) else {
            continue;
        };
        read += 1;
        assert!(!light.matters(), "{draw}: {light:?}; {}", scan.scene);
        let off = light.range - truth(&scan, &light, &|_, _| 1.0);
        worst = worst.max(off.abs());
        // Four standard uncertainties, and what a field of one bend makes of a lamp
        // that falls in a straight line of light: below 0.001.
        assert!(
            off.abs() < 4.0 * light.range_sd + 0.001,
            "{draw}: off {off:.4}, {light:?}; {}",
            scan.scene
        );
    }
    assert!(read * 3 > count * 2, "{read} of {count} scans were read");
    assert!(worst < 0.01, "{worst}");
}

#[test]
fn shading_up_to_a_third_of_a_stop_is_found_and_measured() {
    type Field = fn(f64, f64) -> f64;
    let fields: [(&str, Field); 3] = [
        ("across", |x, _| 1.0 - 0.05 * (x + 1.0)),
        ("down", |_, y| 1.0 - 0.06 * (y + 1.0)),
        ("third of a stop", |x, y| (-(x * x + y * y) / 6.0).exp2()),
    ];
    let (mut tried, mut found) = (0, 0);
    for (name, field) in fields {
        for draw in 740..745 {
            let scan = frame_scan(draw, FrameFlaw::None);
            let picture = shaded(&scan, field);
            // Scans whose frame can't be found in even light have no rebate to read.
            if find_frame(&shaded(&scan, |_, _| 1.0)).is_err() {
                continue;
            }
            tried += 1;
            let Ok(light) = light_in(&picture) else {
                continue;
            };
            let expected = truth(&scan, &light, &field);
            // What x, y and r² can't tell of these fields lies below a tenth of them.
            let allowed = 0.1 * expected + 4.0 * light.range_sd + 0.002;
            assert!(
                (light.range - expected).abs() < allowed,
                "{name} {draw}: {expected:.4} made, {light:?}; {}",
                scan.scene
            );
            if uneven_light_finding(&light).is_some() {
                found += 1;
            }
        }
    }
    assert!(found * 3 >= tried * 2, "{found} of {tried} found");
}

#[test]
fn what_shows_neither_rebate_nor_light_is_not_looked_for() {
    for flaw in [FrameFlaw::NoRebate, FrameFlaw::Masked, FrameFlaw::Blank] {
        for draw in 760..764 {
            let scan = frame_scan(draw, flaw);
            let answer = light_in(&shaded(&scan, |_, _| 1.0));
            assert!(
                matches!(answer, Err(LightUnseen::NoFrame(_))),
                "{flaw:?} {draw}: {answer:?}; {}",
                scan.scene
            );
        }
    }
}

#[test]
fn codes_of_an_unknown_tone_tell_no_density() {
    let scan = frame_scan(700, FrameFlaw::None);
    let picture = Preview {
        tone_known: false,
        ..shaded(&scan, |_, _| 1.0)
    };
    assert_eq!(
        light_of_scan(&picture, &find_frame(&picture), None),
        Err(LightUnseen::UnknownTone)
    );
}
