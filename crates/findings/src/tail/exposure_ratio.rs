//! The factor of a long-pass filter on a film with a given red end.
//!
//! log10 F = log10 ∫ E S dλ − log10 ∫ E S T dλ. Edges of filters come in two
//! shapes ([`EdgeShape`]): logistic, as coatings and dyes have, and that of
//! coloured glass. Which one a filter has is not known: the mean of both counts,
//! and half of their difference is its own.
//!
//! Over what is not known of c and w the mean and spread of log10 F are taken by
//! three points of Gauss and Hermite (Abramowitz & Stegun, table 25.10), since in
//! a filter's foot log10 F is not straight in them; P and the tilt of the light
//! are taken as linear.

use super::film_class::{edges, sensitivity, steepnesses};
use super::tail_light::TailLight;
use quantity::Nanometres;
use spectra::{EdgeLevel, EdgeShape, LongPass};

/// Width of a filter's edge and its natural-log spread. \[nm\]
/// Four measured long-pass camera filters of one public collection have 7 to 10;
/// absorbing glass is steeper in its foot.
const WIDTH_NM: f64 = 7.0;
const WIDTH_LN_SD: f64 = 0.25;

/// Peak transmittance and its spread. \[log10\]
/// The same four filters: 0.90 to 0.91; uncoated and dyed ones are lower.
/// Even from 0.80 to 0.92: the middle, and log10(0.92/0.80)/√12.
const PEAK: f64 = 0.86;
const PEAK_LOG_SD: f64 = 0.0175;

/// How far a density-matched factor lies from the ratio of exposures: the
/// gradient changes with the colour of light. \[log10\]
const MATCH_SD: f64 = 0.04;

/// The wavelengths of the integrals. \[nm\]
const FROM_NM: f64 = 380.0;
const STEP_NM: f64 = 4.0;
const COUNT: usize = 156;
const _: () = assert!(COUNT.is_multiple_of(4), "sums go by four");

/// What a filter gives for one edge and steepness.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Ratio {
    /// log10 F at the middle of everything.
    pub log_factor: f64,
    /// Variance of log10 F by what is this filter's own: c, w, P, and the model.
    pub own_variance: f64,
    /// Change of log10 F with the tilt of the light. \[per (1 per 100 nm)\]
    pub by_tilt: f64,
}

/// The sensitivities of every film on the grid, with the light in them.
pub(super) struct Films {
    /// One row for each film, edges slowest: E S at each wavelength.
    rows: Vec<[f64; COUNT]>,
    /// log10 ∫ E S dλ of each, and its change with the tilt.
    whole: Vec<(f64, f64)>,
    tilts: [f64; COUNT],
}

impl Films {
    pub(super) fn in_light(light: TailLight) -> Self {
        let mut rows = vec![];
        let powers: [f64; COUNT] = core::array::from_fn(|i| light.power(wavelength(i), 0.0));
        // d log10 E / d tilt = (λ − 550)/100, of which a change of E is ln 10 times.
        let tilts: [f64; COUNT] =
            core::array::from_fn(|i| core::f64::consts::LN_10 * (wavelength(i) - 550.0) / 100.0);
        for edge in edges() {
            for steepness in steepnesses() {
                rows.push(core::array::from_fn(|i| {
                    powers[i] * sensitivity(wavelength(i), edge, steepness)
                }));
            }
        }
        let ones = [1.0; COUNT];
        let whole = rows.iter().map(|row| sums(row, &ones, &tilts)).collect();
        Self { rows, whole, tilts }
    }

    /// What a filter gives on the films of the grid that are wanted; of the others it
    /// gives nothing that means anything.
    pub(super) fn behind(
        &self,
        half_peak_nm: f64,
        half_peak_sd_nm: f64,
        wanted: &[bool],
    ) -> Vec<Ratio> {
        let (apart_nm, wider) = (POINT * half_peak_sd_nm, libm::exp(POINT * WIDTH_LN_SD));
        let shapes = EdgeShape::ALL.map(|shape| {
            [
                (half_peak_nm, WIDTH_NM),
                (half_peak_nm - apart_nm, WIDTH_NM),
                (half_peak_nm + apart_nm, WIDTH_NM),
                (half_peak_nm, WIDTH_NM / wider),
                (half_peak_nm, WIDTH_NM * wider),
            ]
            .map(|(centre, width)| filter(centre, width, shape))
        });
        self.rows
            .iter()
            .zip(&self.whole)
            .zip(wanted)
            .map(|((row, (whole, whole_by_tilt)), wanted)| {
                if !wanted {
                    return Ratio::default();
                }
                let (_, by_tilt) = sums(row, &shapes[0][0], &self.tilts);
                let [(logistic, v), (absorbing, w)] = shapes.each_ref().map(|filters| {
                    let [middle, before, after, narrower, wider] = filters
                        .each_ref()
                        .map(|filter| whole - log_sum(row, filter));
                    let (by_centre, by_width) = (
                        three_points(before, middle, after),
                        three_points(narrower, middle, wider),
                    );
                    (middle + by_centre.0 + by_width.0, by_centre.1 + by_width.1)
                });
                let log_factor = 0.5 * (logistic + absorbing);
                let apart = 0.5 * (logistic - absorbing);
                Ratio {
                    log_factor,
                    own_variance: 0.5 * (v + w)
                        + apart * apart
                        + PEAK_LOG_SD * PEAK_LOG_SD
                        + MATCH_SD * MATCH_SD,
                    by_tilt: whole_by_tilt - by_tilt,
                }
            })
            .collect()
    }
}

/// The outer points of the three, in standard deviations; their weight is 1/6.
const POINT: f64 = 1.732_050_807_568_877;

/// What three points add to the value in the middle, on the mean, and the variance.
fn three_points(below: f64, middle: f64, above: f64) -> (f64, f64) {
    let (a, b) = (below - middle, above - middle);
    let mean = (a + b) / 6.0;
    (mean, (a * a + b * b) / 6.0 - mean * mean)
}

/// Transmittances of a filter.
fn filter(centre_nm: f64, width_nm: f64, shape: EdgeShape) -> [f64; COUNT] {
    let half = EdgeLevel::ShareOfPeak(0.5);
    let filter = Nanometres::from_nm(centre_nm)
        .map_err(spectra::EdgeError::from)
        .and_then(|centre| LongPass::from_edge(centre, half, PEAK, width_nm));
    core::array::from_fn(|i| match (&filter, Nanometres::from_nm(wavelength(i))) {
        (Ok(filter), Ok(nm)) => filter.transmittance_shaped(nm, shape),
        // An edge below 0 nm holds nothing back.
        _ => PEAK,
    })
}

fn wavelength(index: usize) -> f64 {
    FROM_NM + STEP_NM * index as f64
}

/// log10 of a sum of products, and its derivative with the tilt.
fn sums(row: &[f64; COUNT], filter: &[f64; COUNT], tilts: &[f64; COUNT]) -> (f64, f64) {
    let mut sum = f64::MIN_POSITIVE;
    let mut moment = 0.0;
    for ((power, passed), tilt) in row.iter().zip(filter).zip(tilts) {
        sum += power * passed;
        moment += power * passed * tilt;
    }
    (libm::log10(sum), moment / sum / core::f64::consts::LN_10)
}

fn log_sum(row: &[f64; COUNT], filter: &[f64; COUNT]) -> f64 {
    // Four sums side by side: the compiler may then take four at once.
    let mut sums = [0.0; 4];
    let (rows, _) = row.as_chunks::<4>();
    let (filters, _) = filter.as_chunks::<4>();
    for (row, filter) in rows.iter().zip(filters) {
        for ((sum, power), passed) in sums.iter_mut().zip(row).zip(filter) {
            *sum += power * passed;
        }
    }
    libm::log10(sums.iter().sum::<f64>().max(f64::MIN_POSITIVE))
}

/// What is assumed, for the list of assumptions.
pub(super) fn in_words() -> Vec<(String, String)> {
    vec![
        (
            "width of a filter's edge".to_owned(),
            format!(
                "{WIDTH_NM} nm, times or over {:.2}, logistic or as absorbing glass has it; measured camera filters",
                libm::exp(WIDTH_LN_SD)
            ),
        ),
        (
            "peak of a filter".to_owned(),
            format!(
                "{PEAK}, within {PEAK_LOG_SD} in log10: 0.80 to 0.92; measured camera filters are near the upper end"
            ),
        ),
        (
            "density-matched factor against the ratio of exposures".to_owned(),
            format!(
                "within {MATCH_SD} in log10, since the gradient changes with the filter; common practice"
            ),
        ),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;
    use record::Sky;

    fn at(films: &Films, edge_nm: f64, steepness: f64, half_peak_nm: f64) -> Ratio {
        let (edges, steepnesses) = (edges(), steepnesses());
        let near = |list: &[f64], value: f64| {
            (0..list.len())
                .min_by(|a, b| {
                    (list[*a] - value)
                        .abs()
                        .total_cmp(&(list[*b] - value).abs())
                })
                .unwrap()
        };
        let cell = near(&edges, edge_nm) * steepnesses.len() + near(&steepnesses, steepness);
        let wanted = vec![true; edges.len() * steepnesses.len()];
        films.behind(half_peak_nm, 3.0, &wanted)[cell]
    }

    #[test]
    fn beyond_the_edge_a_factor_grows_by_the_steepness() {
        // Where both curves are exponentials, F grows as 10^(k Δc): 10 nm at the
        // grid's steepness next to 0.03 is 0.3.
        let films = Films::in_light(TailLight::under(Sky::ClearSun));
        let steepness = steepnesses()
            .into_iter()
            .min_by(|a, b| (a - 0.03).abs().total_cmp(&(b - 0.03).abs()))
            .unwrap();
        let near = at(&films, 650.0, 0.03, 750.0).log_factor;
        let far = at(&films, 650.0, 0.03, 770.0).log_factor;
        // 0.06: the light is not level between the two.
        assert!((far - near - 20.0 * steepness).abs() < 0.06, "{near} {far}");
    }

    #[test]
    fn a_filter_far_from_the_edge_costs_little_and_depends_on_little() {
        let films = Films::in_light(TailLight::under(Sky::ClearSun));
        let ratio = at(&films, 780.0, 0.05, 620.0);
        // By hand: level film, about 160 of 400 nm pass at 0.88: log10(400/160/0.88) = 0.45.
        assert!((ratio.log_factor - 0.45).abs() < 0.12, "{ratio:?}");
        assert!(libm::sqrt(ratio.own_variance) < 0.08, "{ratio:?}");
    }
}
