mod common;
use common::*;
use sensitometry::*;
#[test]
fn coverage() {
    let cases: Vec<(&str, Box<dyn Fn(f64) -> f64>, f64)> = vec![
        (
            "piecewise",
            Box::new(|x: f64| {
                let (a, w, g) = (-2.1, 0.5, 0.65);
                let u = x - a;
                0.25 + if u < 0.0 {
                    0.0
                } else if u < w {
                    g * u * u / (2.0 * w)
                } else {
                    g * (u - w / 2.0)
                }
            }),
            0.25,
        ),
        (
            "gompertz",
            Box::new(|x: f64| 0.25 + 2.2 * (1.0 - (-((x + 0.5) / 0.45).exp()).exp())),
            0.25,
        ),
        (
            "gompertz later",
            Box::new(|x: f64| 0.25 + 2.2 * (1.0 - (-((x + 0.2) / 0.3).exp()).exp())),
            0.25,
        ),
        (
            "gompertz rev",
            Box::new(|x: f64| 0.25 + 2.2 * (-(-((x + 1.0) / 0.7)).exp()).exp()),
            0.25,
        ),
        (
            "hill",
            Box::new(|x: f64| {
                let h = 10f64.powf(1.3 * x);
                0.2 + 2.4 * h / (h + 0.08)
            }),
            0.2,
        ),
        (
            "upsweep",
            Box::new(|x: f64| 0.25 + 0.14 * (((x + 2.2).max(0.0)).powf(1.8))),
            0.25,
        ),
    ];
    for sd in [0.01, 0.004] {
        for (name, c, base) in &cases {
            let t = truth(&**c, *base, -2.35, 0.65);
            let mut hit = [0; 6];
            let mut n = [0; 6];
            let mut bias = [0.0; 6];
            let mut sds = [0.0; 6];
            let mut flags = 0;
            let mut methods = std::collections::BTreeMap::new();
            let mut errs = 0;
            for k in 0..60 {
                let mut noise = Noise::starting_from(k);
                let r = readings_21(&**c, 0.65, sd, &mut || sd * noise.normal());
                let Ok(cv) = fit_characteristic_curve(&r, &CurveFitSettings::in_lux_seconds())
                else {
                    errs += 1;
                    continue;
                };
                *methods.entry(format!("{:?}", cv.method())).or_insert(0) += 1;
                flags += cv
                    .readings()
                    .iter()
                    .filter(|r| r.flags.contains(quantity::Flag::NoFilmCurve))
                    .count();
                let a = speed_and_contrast(&cv);
                let mut see = |i: usize, v: Option<(f64, f64)>, t: f64| {
                    if let Some((v, s)) = v {
                        n[i] += 1;
                        bias[i] += v - t;
                        sds[i] += s;
                        if (v - t).abs() < 1.645 * s {
                            hit[i] += 1;
                        }
                    }
                };
                see(
                    0,
                    Some((
                        a.base_plus_fog.value().to_density(),
                        a.base_plus_fog.standard_uncertainty(),
                    )),
                    t.base,
                );
                see(
                    1,
                    a.speed_point
                        .ok()
                        .map(|m| (m.value().to_log10(), m.standard_uncertainty())),
                    t.log_hm,
                );
                see(
                    2,
                    a.average_gradient_1_50
                        .ok()
                        .map(|m| (m.value().to_density_per_log_h(), m.standard_uncertainty())),
                    t.g_1_50,
                );
                see(
                    3,
                    a.contrast_index_arcs.ok().map(|m| {
                        (
                            m.gradient.value().to_density_per_log_h(),
                            m.gradient.standard_uncertainty(),
                        )
                    }),
                    t.arcs,
                );
                see(
                    4,
                    a.gamma
                        .ok()
                        .map(|m| (m.value().to_density_per_log_h(), m.standard_uncertainty())),
                    t.gamma,
                );
                see(
                    5,
                    a.fractional_gradient_point
                        .ok()
                        .map(|m| (m.value().to_log10(), m.standard_uncertainty())),
                    t.fractional,
                );
            }
            println!("{name} sd {sd}: errs {errs} flags {flags} {methods:?}");
            for (i, nm) in ["base", "m", "g150", "arcs", "gamma", "0.3G"]
                .iter()
                .enumerate()
            {
                println!(
                    "   {nm}: n {} cover {:.3} bias {:.4} meansd {:.4}",
                    n[i],
                    hit[i] as f64 / n[i] as f64,
                    bias[i] / n[i] as f64,
                    sds[i] / n[i] as f64
                );
            }
        }
    }
}
