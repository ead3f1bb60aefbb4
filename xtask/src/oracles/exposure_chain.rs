//! `expose` against meter, filter, bellows and reciprocity equations worked by hand.

use super::{Bench, number};

/// What is asked, and the four times expected: metered, after filter, after
/// bellows, corrected. \[s\]
struct Chain {
    what: &'static str,
    asked: &'static [&'static str],
    times_s: [f64; 4],
}

/// t = N²/2^EV100 · 100/EI; × factor; × (1 + m/p)²; then the reciprocity law.
/// f/22.627417 is 2^4.5 and f/45.254834 is 2^5.5, so the first column is exact.
const CHAINS: &[Chain] = &[
    // 512/2^15 · 100/200 = 1/128 s; × 16 = 1/8 s; under 1 s the law does not act.
    Chain {
        what: "sun, factor 16",
        asked: &[
            "--ev100",
            "15",
            "--aperture",
            "22.627417",
            "--ei",
            "200",
            "--factor",
            "16",
            "--reciprocity",
            "power:1.43",
        ],
        times_s: [0.007_812_5, 0.125, 0.125, 0.125],
    },
    // 2048/2^12 · 100/200 = 1/4 s; × 86.49; × 1.05² ; 23.8388^1.43.
    // Source: reference computation from the closed form, printed to four digits.
    Chain {
        what: "factor 86.49, m 0.05, power 1.43",
        asked: &[
            "--ev100",
            "12",
            "--aperture",
            "45.254834",
            "--ei",
            "200",
            "--factor",
            "86.49",
            "--magnification",
            "0.05",
            "--reciprocity",
            "power:1.43",
        ],
        times_s: [0.25, 21.622_5, 23.838_806, 93.22],
    },
    // 512/2^10 · 100/50 = 1 s; × 8; × (1 + 0.5/0.7)² = 2.938776; 23.510204^1.26.
    Chain {
        what: "factor 8, m 0.5, pupil ratio 0.7",
        asked: &[
            "--ev100",
            "10",
            "--aperture",
            "22.627417",
            "--ei",
            "50",
            "--factor",
            "8",
            "--magnification",
            "0.5",
            "--pupil-ratio",
            "0.7",
            "--reciprocity",
            "power:1.26",
        ],
        times_s: [1.0, 8.0, 23.510_204, 53.429_74],
    },
    // 18 in of draw with a 12 in lens: (18/12)² = 2.25. Source: a US Army
    // photography course, which goes from 8 s to 18 s. Metered: 16²/2^5 = 8 s.
    Chain {
        what: "draw 18 in, focal length 12 in",
        asked: &[
            "--ev100",
            "5",
            "--aperture",
            "16",
            "--ei",
            "100",
            "--draw",
            "457.2",
            "--focal-length",
            "304.8",
        ],
        times_s: [8.0, 8.0, 18.0, 18.0],
    },
    // 100 s metered: 10²/2^0. Tc = Tm + 0.061·Tm^1.62, and 100^1.62 = 1737.80.
    // Source: coefficients from a photographers' forum, which states 100^1.62 = 1738.
    Chain {
        what: "additive law at 100 s",
        asked: &[
            "--ev100",
            "0",
            "--aperture",
            "10",
            "--ei",
            "100",
            "--reciprocity",
            "additive:0.061,1.62",
        ],
        times_s: [100.0, 100.0, 100.0, 206.005_8],
    },
    // An incident meter at 81920 lux with C = 250 reads EV 15: 2^15·250/100.
    Chain {
        what: "81920 lux is EV 15",
        asked: &["--lux", "81920", "--aperture", "16", "--ei", "100"],
        times_s: [0.007_812_5; 4],
    },
    // A spot meter at 4096 cd/m² with K = 12.5 reads EV 15: 2^15·12.5/100.
    Chain {
        what: "4096 cd/m² is EV 15",
        asked: &["--luminance", "4096", "--aperture", "16", "--ei", "100"],
        times_s: [0.007_812_5; 4],
    },
];

/// The keys of the four times.
const KEYS: [&str; 4] = [
    "time_metered_s",
    "time_after_filter_s",
    "time_after_bellows_s",
    "time_corrected_s",
];

pub(super) fn compare(bench: &mut Bench) -> Result<(), String> {
    for chain in CHAINS {
        let mut asked = vec!["expose", "--json"];
        asked.extend(chain.asked);
        let told = bench.json(&asked)?;
        for (key, expected) in KEYS.iter().zip(chain.times_s) {
            // 1e-4: the digits that the printed expectations have.
            bench.near(
                &format!("{}, {key}", chain.what),
                number(&told, key)?,
                expected,
                1e-4 * expected,
            );
        }
    }
    Ok(())
}
