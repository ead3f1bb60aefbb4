//! Student's t: quantiles for few degrees of freedom, and Welch's comparison.
//!
//! Symbols: ν degrees of freedom; I_x(a, b) regularised incomplete beta
//! function, by its continued fraction (modified Lentz).
//! Source: P(|T| > t) = I_x(ν/2, 1/2) with x = ν/(ν + t²), any handbook of
//! statistics; Welch 1947, Biometrika 34, for the degrees of freedom.

/// Gives the continued fraction of the incomplete beta function.
fn beta_fraction(a: f64, b: f64, x: f64) -> f64 {
    const TINY: f64 = 1e-300;
    let away = |v: f64| if v.abs() < TINY { TINY } else { v };
    let mut c = 1.0;
    let mut d = 1.0 / away(1.0 - (a + b) * x / (a + 1.0));
    let mut h = d;
    for m in 1..500 {
        let m = f64::from(m);
        let even = m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m));
        d = 1.0 / away(1.0 + even * d);
        c = away(1.0 + even / c);
        h *= d * c;
        let odd = -(a + m) * (a + b + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0));
        d = 1.0 / away(1.0 + odd * d);
        c = away(1.0 + odd / c);
        h *= d * c;
        if (d * c - 1.0).abs() < 1e-15 {
            break;
        }
    }
    h
}

/// I_x(a, b) for 0 < x < 1.
fn incomplete_beta(a: f64, b: f64, x: f64) -> f64 {
    let front = libm::exp(
        libm::lgamma(a + b) - libm::lgamma(a) - libm::lgamma(b)
            + a * libm::log(x)
            + b * libm::log1p(-x),
    );
    // The fraction converges fast on one side of the mean only.
    if x < (a + 1.0) / (a + b + 2.0) {
        front * beta_fraction(a, b, x) / a
    } else {
        1.0 - front * beta_fraction(b, a, 1.0 - x) / b
    }
}

/// Gives t with P(|T| ≤ t) = `coverage`.
///
/// Precondition: 0 < coverage < 1 and at least one degree of freedom.
pub(crate) fn two_sided(coverage: f64, degrees_of_freedom: f64) -> f64 {
    assert!(
        coverage > 0.0 && coverage < 1.0 && degrees_of_freedom >= 1.0,
        "coverage lies between 0 and 1 and there is a degree of freedom, found {coverage} and {degrees_of_freedom}"
    );
    let nu = degrees_of_freedom;
    let outside = |t: f64| incomplete_beta(0.5 * nu, 0.5, nu / (nu + t * t));
    let (mut low, mut high) = (1e-9, 1e6);
    for _ in 0..200 {
        // Halving on the logarithm: t of one degree of freedom can be large.
        let middle = libm::sqrt(low * high);
        if outside(middle) > 1.0 - coverage {
            low = middle;
        } else {
            high = middle;
        }
    }
    libm::sqrt(low * high)
}

/// Mean, variance of the mean, and count less one.
fn mean_of(values: &[f64]) -> (f64, f64, f64) {
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    let squares: f64 = values.iter().map(|v| (v - mean) * (v - mean)).sum();
    (mean, squares / (n - 1.0) / n, n - 1.0)
}

/// Compares two samples of at least two values: difference of means (second
/// less first), its standard error, degrees of freedom.
pub(crate) fn welch(first: &[f64], second: &[f64]) -> (f64, f64, f64) {
    assert!(
        first.len() > 1 && second.len() > 1,
        "Welch's comparison needs two values on each side"
    );
    let (a, va, na) = mean_of(first);
    let (b, vb, nb) = mean_of(second);
    let v = va + vb;
    // ν = (va + vb)² / (va²/(na−1) + vb²/(nb−1)), v of the means.
    let nu = if v > 0.0 {
        v * v / (va * va / na + vb * vb / nb)
    } else {
        na + nb
    };
    (b - a, libm::sqrt(v), nu)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quantiles_agree_with_the_printed_table() {
        // Source: table of Student's t (any handbook), two-sided 90 %.
        for (nu, printed) in [
            (1.0, 6.314),
            (2.0, 2.920),
            (5.0, 2.015),
            (10.0, 1.812),
            (30.0, 1.697),
            (120.0, 1.658),
        ] {
            let ours = two_sided(0.90, nu);
            // 5e-4: three decimals are printed.
            assert!(
                (ours - printed).abs() < 5e-4,
                "{nu}: {ours}, printed {printed}"
            );
        }
        // The same table, two-sided 95 % of 5: 2.571.
        assert!((two_sided(0.95, 5.0) - 2.571).abs() < 5e-4);
    }

    #[test]
    fn welch_by_hand() {
        // Hand calculation: {1, 2, 3} has mean 2 and s²/n = 1/3; {4, 8} has
        // mean 6 and s²/n = 8/2 = 4. Difference 4, error √4.3333 = 2.0817,
        // ν = 4.3333²/((1/9)/2 + 16/1) = 18.778/16.0556 = 1.1696.
        let (difference, error, nu) = welch(&[1.0, 2.0, 3.0], &[4.0, 8.0]);
        assert!((difference - 4.0).abs() < 1e-12);
        assert!((error - 2.081_666).abs() < 1e-6);
        assert!((nu - 1.169_6).abs() < 1e-4, "{nu}");
    }
}
