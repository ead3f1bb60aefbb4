//! The proof of the red end: films whose edge and steepness are known.
//!
//! Draws films, filters, lights and factors by rules of its own, hands the
//! factors to the estimate, and counts how often its intervals hold the truth.
//! Nothing is shared with the estimate but the meaning of edge (half of the
//! level below) and steepness (slope far beyond), and how films are distributed:
//! the knee is a hyperbola and no logistic curve, the level below is wavy with
//! more or less blue, edges of filters are exponential absorption or logistic by
//! turns and leak a little, the light is a sum of a cool and a warm radiator,
//! and the integral has steps of 1 nm.

use findings::{TailData, TailLight, tail_estimate};
use quantity::Bound;
use record::Sky;

/// Uniform and normal numbers, the same for the same draw (splitmix64).
struct Chance(u64);

impl Chance {
    fn uniform(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        // The upper 53 bits, exactly.
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Sum of twelve uniform numbers less six: close enough to normal to ±3.
    fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.uniform()).sum::<f64>() - 6.0
    }
}

/// A film as it really is.
struct Film {
    edge: f64,
    steepness: f64,
    /// Waves of the level below: size in log10, and phase.
    waves: [(f64, f64); 3],
    /// Blue sensitivity above the green, log10: film and lens differ most there.
    blue: f64,
}

impl Film {
    fn drawn(chance: &mut Chance) -> Self {
        let class = chance.uniform();
        let (middle, sd) = if class < 0.4 {
            (648.0, 18.0)
        } else if class < 0.8 {
            (695.0, 18.0)
        } else {
            (785.0, 36.0)
        };
        Self {
            edge: middle + sd * chance.normal(),
            steepness: 0.045 * (0.5 * chance.normal()).exp(),
            waves: core::array::from_fn(|_| (0.12 * chance.normal(), 6.3 * chance.uniform())),
            blue: 0.20 * chance.normal(),
        }
    }

    fn sensitivity(&self, nm: f64) -> f64 {
        let beyond = self.steepness * (nm - self.edge);
        // Hyperbola with the asymptotes 0 and −beyond, −log10 2 at the edge.
        let knee = 0.5 * (beyond + (beyond * beyond + 0.3624).sqrt());
        // Waves fade out 60 nm below the edge: edge and steepness keep their meaning.
        let fade = (1.0 - (nm - (self.edge - 120.0)) / 60.0).clamp(0.0, 1.0);
        let waves: f64 = self
            .waves
            .iter()
            .zip([90.0, 130.0, 200.0])
            .map(|((size, phase), length)| {
                size * (std::f64::consts::TAU * nm / length + phase).sin()
            })
            .sum();
        let blue = self.blue * ((520.0 - nm) / 40.0).clamp(0.0, 1.0);
        10.0_f64.powf(blue + fade * waves - knee)
    }
}

/// A long-pass filter as it really is.
struct Filter {
    half_peak: f64,
    peak: f64,
    absorbing: bool,
    width: f64,
    leak: f64,
}

impl Filter {
    fn drawn(half_peak: f64, off_sd: f64, chance: &mut Chance) -> Self {
        Self {
            half_peak: half_peak + off_sd * chance.normal(),
            peak: 0.80 + 0.12 * chance.uniform(),
            absorbing: chance.uniform() < 0.5,
            width: 7.0 * (0.25 * chance.normal()).exp(),
            leak: 1e-4 * chance.uniform(),
        }
    }

    fn transmittance(&self, nm: f64) -> f64 {
        let off = (nm - self.half_peak) / self.width;
        let edge = if self.absorbing {
            // Absorption that falls exponentially; the same slope at half of the peak.
            2.0_f64.powf(-(-off / 1.386).min(40.0).exp())
        } else {
            1.0 / (1.0 + (-off).min(700.0).exp())
        };
        self.peak * edge + self.leak
    }
}

/// A light: two radiators mixed, tilted.
struct Light {
    cool_share: f64,
    tilt: f64,
}

impl Light {
    fn power(&self, nm: f64) -> f64 {
        let radiator = |kelvin: f64| {
            (550.0 / nm).powi(5) * ((14_388_000.0 / (550.0 * kelvin)).exp() - 1.0)
                / ((14_388_000.0 / (nm * kelvin)).exp() - 1.0)
        };
        let mixed = self.cool_share * radiator(6500.0) + (1.0 - self.cool_share) * radiator(5000.0);
        mixed * 10.0_f64.powf(self.tilt * (nm - 550.0) / 100.0)
    }
}

fn log_factor(film: &Film, filter: &Filter, light: &Light) -> f64 {
    let (mut whole, mut passed) = (0.0, 0.0);
    for nm in (380..1000).map(f64::from) {
        let part = light.power(nm) * film.sensitivity(nm);
        whole += part;
        passed += part * filter.transmittance(nm);
    }
    (whole / passed).log10()
}

/// Nominal filters of a drawer. \[nm\]
const DRAWER: [f64; 8] = [620.0, 650.0, 665.0, 680.0, 695.0, 720.0, 740.0, 760.0];

/// Factors beyond about this leave a blank frame: a bound. \[log10\]
const BLANK_BEYOND: f64 = 2.7;

/// How exactly the exposure of such a frame is known. \[log10\]
const BLANK_SD: f64 = 0.1;

/// A bound is told where a 90 % interval would end: where the likelihood of the blank
/// frame has fallen to exp(−1.645²/2) = 0.26, which is 0.64 of its spread below. \[log10\]
const BOUND_TOLD: f64 = BLANK_BEYOND - 0.64 * BLANK_SD;

/// What was counted.
#[derive(Default)]
struct Counts {
    films: u32,
    edge: u32,
    steepness: u32,
    held_out: u32,
    held_out_films: u32,
    edge_half_width: f64,
    steepness_span: f64,
    held_out_half_width: f64,
    bounds: u32,
}

/// Draws films, prints what the intervals hold; an error names what is out of its limits.
pub(crate) fn run(films: u32, draw: u64) -> Result<(), String> {
    println!("proof of the red end: {films} films of each number of filters, draw {draw}");
    println!();
    println!(
        "filters  edge held %  steepness held %  held-out factor %  edge half-w nm  steepness ×÷  factor half-w stops  bounds"
    );
    let mut chance = Chance(draw);
    let mut total = Counts::default();
    for filters in 1..=4 {
        let mut counts = Counts::default();
        while counts.films < films {
            one(filters, &mut chance, &mut counts);
        }
        print_row(&filters.to_string(), &counts);
        if filters > 1 {
            add(&mut total, &counts);
        }
    }
    print_row("2 to 4", &total);
    println!();
    let shares = [
        ("edge", total.edge, total.films),
        ("steepness", total.steepness, total.films),
        ("held-out factor", total.held_out, total.held_out_films),
    ];
    let mut failed = vec![];
    for (what, held, of) in shares {
        let share = 100.0 * f64::from(held) / f64::from(of);
        // 3 % with 500 and more; fewer may scatter by three standard errors.
        let off = if of < 500 {
            3.0 * 30.0 / f64::from(of.max(1)).sqrt()
        } else {
            3.0
        };
        let within = (share - 90.0).abs() <= off;
        println!(
            "{} {what}: {share:.1} % of {of} inside, wanted 90 ± {off:.1}",
            if within { "met " } else { "FAIL" }
        );
        if !within {
            failed.push(what);
        }
    }
    if failed.is_empty() {
        Ok(())
    } else {
        Err(format!("out of limits: {}", failed.join(", ")))
    }
}

fn add(total: &mut Counts, counts: &Counts) {
    total.films += counts.films;
    total.edge += counts.edge;
    total.steepness += counts.steepness;
    total.held_out += counts.held_out;
    total.held_out_films += counts.held_out_films;
    total.edge_half_width += counts.edge_half_width;
    total.steepness_span += counts.steepness_span;
    total.held_out_half_width += counts.held_out_half_width;
    total.bounds += counts.bounds;
}

fn print_row(name: &str, c: &Counts) {
    let share = |held: u32, of: u32| 100.0 * f64::from(held) / f64::from(of.max(1));
    let films = f64::from(c.films.max(1));
    println!(
        "{name:<7} {:>12.1} {:>17.1} {:>18.1} {:>15.1} {:>13.2} {:>20.2} {:>7}",
        share(c.edge, c.films),
        share(c.steepness, c.films),
        share(c.held_out, c.held_out_films),
        c.edge_half_width / films,
        (c.steepness_span / films).exp().sqrt(),
        c.held_out_half_width / f64::from(c.held_out_films.max(1)),
        c.bounds,
    );
}

fn one(filters: usize, chance: &mut Chance, counts: &mut Counts) {
    let film = Film::drawn(chance);
    let light = Light {
        cool_share: chance.uniform(),
        tilt: 0.02 * chance.normal(),
    };
    let mut drawer = DRAWER.to_vec();
    let mut data = vec![];
    let off_sd = 3.0;
    for _ in 0..filters {
        let at = (chance.uniform() * drawer.len() as f64) as usize;
        let nominal = drawer.swap_remove(at.min(drawer.len() - 1));
        let filter = Filter::drawn(nominal, off_sd, chance);
        // The gradient changes with the filter: a factor matched by density is off by this.
        let matched = log_factor(&film, &filter, &light) + 0.04 * chance.normal();
        let sd = 0.03 + 0.05 * chance.uniform();
        let blank = matched + BLANK_SD * chance.normal() > BLANK_BEYOND;
        counts.bounds += u32::from(blank);
        data.push(TailData {
            half_peak_nm: nominal,
            half_peak_sd_nm: off_sd,
            log_factor: if blank {
                BOUND_TOLD
            } else {
                matched + sd * chance.normal()
            },
            log_factor_sd: if blank { BLANK_SD } else { sd },
            bound: blank.then_some(Bound::AtLeast),
        });
    }
    if data.iter().all(|d| d.bound.is_some()) {
        return;
    }
    let estimate = tail_estimate(&data, TailLight::under(Sky::ClearSun), 0.90);
    let (edge, steepness) = (&estimate.edge, &estimate.steepness);
    counts.films += 1;
    counts.edge += u32::from((edge.low.to_nm()..=edge.high.to_nm()).contains(&film.edge));
    counts.steepness += u32::from((steepness.low..=steepness.high).contains(&film.steepness));
    counts.edge_half_width += 0.5 * (edge.high.to_nm() - edge.low.to_nm());
    counts.steepness_span += (steepness.high / steepness.low).ln();
    let nominal = drawer[(chance.uniform() * drawer.len() as f64) as usize % drawer.len()];
    let filter = Filter::drawn(nominal, off_sd, chance);
    let truth = log_factor(&film, &filter, &light) + 0.04 * chance.normal();
    let expected = estimate.outlook(nominal, off_sd).factor;
    // Held out where a picture is expected; whether there is one is for the truth to say.
    if expected.value.to_ratio().log10() < BLANK_BEYOND {
        let (low, high) = (
            expected.low.to_ratio().log10(),
            expected.high.to_ratio().log10(),
        );
        counts.held_out_films += 1;
        counts.held_out += u32::from((low..=high).contains(&truth));
        counts.held_out_half_width += 0.5 * (high - low) / core::f64::consts::LOG10_2;
    }
}
