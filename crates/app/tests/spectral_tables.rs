//! Lamps, daylight, wedge spectrograms and speeds against whole published tables.

#![expect(
    clippy::unwrap_used,
    reason = "functions of a test may panic on a broken table"
)]

use spectra::clear_sky::{Air, SkyCoefficients, SkyLight, clear_sky};
use spectra::lamp::{daylight_multipliers, illuminant_a, planck};
use spectra::seen::{illuminance_lux, irradiance};
use spectra::{Curve, CurveKind, speed_from_absolute, wedge_from_equal_energy};

/// Wavelength in nm; D50, D55, D65, D75, 4500 K and 10000 K. Source: CIE 15,
/// components S0, S1, S2 with M1 and M2 of three decimals.
#[rustfmt::skip]
const DAYLIGHT: [(f64, [f64; 6]); 54] = [
    (300.0, [0.0192, 0.0243, 0.0341, 0.0429, 0.0143, 0.0601]),
    (310.0, [2.0505, 2.0715, 3.2945, 5.1325, 2.8170, 9.7755]),
    (320.0, [7.7784, 11.2240, 20.2360, 29.8080, 6.0016, 50.5912]),
    (330.0, [14.7475, 20.6470, 37.0535, 54.9300, 12.3550, 94.2895]),
    (340.0, [17.9480, 23.8846, 39.9488, 57.2590, 15.2440, 95.1436]),
    (350.0, [21.0097, 27.8174, 44.9117, 62.7400, 17.0258, 101.0525]),
    (360.0, [23.9419, 30.6206, 46.6383, 62.9820, 19.5326, 97.6583]),
    (370.0, [26.9607, 34.3082, 52.0891, 70.3120, 22.2158, 109.0763]),
    (380.0, [24.4875, 32.5835, 49.9755, 66.7025, 17.7950, 100.9085]),
    (390.0, [29.8706, 38.0874, 54.6482, 69.9630, 22.3524, 100.4622]),
    (400.0, [49.3081, 60.9488, 82.7549, 101.9290, 37.5554, 138.7361]),
    (410.0, [56.5128, 68.5535, 91.4860, 111.8935, 44.6072, 151.4234]),
    (420.0, [60.0338, 71.5771, 93.4318, 112.7975, 48.5332, 150.1900]),
    (430.0, [57.8175, 67.9141, 86.6823, 103.0915, 47.5270, 134.4541]),
    (440.0, [74.8249, 85.6053, 104.8649, 121.1975, 63.3186, 151.6695]),
    (450.0, [87.2472, 97.9927, 117.0076, 133.0095, 75.6568, 162.6778]),
    (460.0, [90.6122, 100.4634, 117.8122, 132.3550, 79.9308, 159.2310]),
    (470.0, [91.3681, 99.9133, 114.8609, 127.3215, 82.0354, 150.2431]),
    (480.0, [95.1085, 102.7393, 115.9229, 126.7995, 86.6650, 146.6323]),
    (490.0, [91.9627, 98.0779, 108.8107, 117.7825, 85.3078, 134.3245]),
    (500.0, [95.7237, 100.6800, 109.3545, 116.5890, 90.3138, 129.9021]),
    (510.0, [96.6133, 100.6954, 107.8017, 113.7020, 92.1322, 124.5193]),
    (520.0, [97.1290, 99.9866, 104.7898, 108.6590, 93.8780, 115.5686]),
    (530.0, [102.0991, 104.2095, 107.6895, 110.4445, 99.6534, 115.2873]),
    (540.0, [100.7547, 102.1020, 104.4055, 106.2890, 99.2478, 109.6971]),
    (550.0, [102.3170, 102.9679, 104.0462, 104.9035, 101.5660, 106.4164]),
    (560.0, [100.0000, 100.0000, 100.0000, 100.0000, 100.0000, 100.0000]),
    (570.0, [97.7350, 97.2164, 96.3342, 95.6160, 98.3180, 94.3214]),
    (580.0, [98.9180, 97.7485, 95.7880, 94.2125, 100.2520, 91.4050]),
    (590.0, [93.4988, 91.4317, 88.6856, 86.9965, 96.3352, 84.8146]),
    (600.0, [97.6878, 94.4194, 90.0062, 87.2270, 102.1252, 83.5018]),
    (610.0, [99.2691, 95.1402, 89.5991, 86.1400, 104.8974, 81.5655]),
    (620.0, [99.0415, 94.2204, 87.6987, 83.5810, 105.5790, 78.0399]),
    (630.0, [95.7218, 90.4477, 83.2886, 78.7465, 102.8572, 72.5896]),
    (640.0, [98.8572, 92.3299, 83.6992, 78.4275, 107.8408, 71.6950]),
    (650.0, [95.6672, 88.8541, 80.0268, 74.8005, 105.1648, 68.4742]),
    (660.0, [98.1898, 90.3172, 80.2146, 74.3240, 109.2292, 67.3906]),
    (670.0, [103.0034, 93.9496, 82.2778, 75.4220, 115.6636, 67.2418]),
    (680.0, [99.1330, 89.9564, 78.2842, 71.5760, 112.0700, 63.8954]),
    (690.0, [87.3809, 79.6766, 69.7213, 63.8520, 98.1386, 56.8013]),
    (700.0, [91.6035, 82.8397, 71.6091, 65.0755, 103.9030, 57.4177]),
    (710.0, [92.8886, 84.8435, 74.3490, 68.0695, 104.0564, 60.3248]),
    (720.0, [76.8544, 70.2350, 61.6040, 56.4430, 86.0456, 50.0852]),
    (730.0, [86.5112, 79.3012, 69.8856, 64.2420, 96.5128, 57.2608]),
    (740.0, [92.5798, 84.9930, 75.0870, 69.1510, 103.1052, 61.8114]),
    (750.0, [78.2299, 71.8804, 63.5927, 58.6290, 87.0406, 52.4971]),
    (760.0, [57.6918, 52.7934, 46.4182, 42.6170, 64.5012, 37.9578]),
    (770.0, [82.9230, 75.9268, 66.8054, 61.3520, 92.6380, 54.6358]),
    (780.0, [78.2740, 71.8176, 63.3828, 58.3240, 87.2280, 52.0596]),
    (790.0, [79.5544, 72.9350, 64.3040, 59.1430, 88.7456, 52.7852]),
    (800.0, [73.4015, 67.3473, 59.4519, 54.7295, 81.8070, 48.9093]),
    (810.0, [63.9202, 58.7265, 51.9590, 47.9165, 71.1348, 42.9456]),
    (820.0, [70.7770, 64.9927, 57.4406, 52.9155, 78.8020, 47.3212]),
    (830.0, [74.4417, 68.3060, 60.3125, 55.5390, 82.9658, 49.6721]),
];

/// CIE illuminant A from 300 to 1100 nm every 10 nm. Source: CIE S 014-2, its formula.
#[rustfmt::skip]
const ILLUMINANT_A: [f64; 81] = [
    0.930483, 1.357693, 1.925083, 2.659806, 3.589682, 4.742384, 6.144618, 7.821349, 9.795100,
    12.085345, 14.708038, 17.675252, 20.994957, 24.670923, 28.702730, 33.085893, 37.812057, 42.869276,
    48.242343, 53.913153, 59.861099, 66.063473, 72.495872, 79.132595, 85.947018, 92.911959, 100.000000,
    107.183795, 114.436338, 121.731201, 129.042739, 136.346267, 143.618206, 150.836194, 157.979186, 165.027510,
    171.962920, 178.768618, 185.429259, 191.930950, 198.261223, 204.409009, 210.364592, 216.119565, 221.666775,
    227.000263, 232.115201, 237.007829, 241.675388, 246.116055, 250.328873, 254.313690, 258.071092, 261.602340,
    264.909310, 267.994436, 270.860652, 273.511342, 275.950284, 278.181609, 280.209752, 282.039411, 283.675507,
    285.123149, 286.387601, 287.474247, 288.388565, 289.136101, 289.722443, 290.153200, 290.433983, 290.570383,
    290.567961, 290.432228, 290.168635, 289.782560, 289.279299, 288.664057, 287.941939, 287.117948, 286.196972,
];

/// log10 of the power relative to 560 nm, from 400 to 900 nm every 10 nm: illuminant A,
/// black bodies of 2850, 3200 and 5500 K; then log10(wavelength / 560 nm). Source: CIE S
/// 014-2 and Planck's law, computed by a separate program.
#[rustfmt::skip]
const LOG_LAMPS: [[f64; 5]; 51] = [
    [-0.832445, -0.835459, -0.664257, -0.084313, -0.146128],
    [-0.752634, -0.755390, -0.598809, -0.068550, -0.135404],
    [-0.677885, -0.680396, -0.537739, -0.054781, -0.124939],
    [-0.607815, -0.610092, -0.480711, -0.042836, -0.114720],
    [-0.542077, -0.544131, -0.427422, -0.032562, -0.104735],
    [-0.480357, -0.482198, -0.377598, -0.023822, -0.094976],
    [-0.422370, -0.424007, -0.330988, -0.016489, -0.085430],
    [-0.367854, -0.369296, -0.287365, -0.010451, -0.076090],
    [-0.316572, -0.317827, -0.246521, -0.005604, -0.066947],
    [-0.268305, -0.269381, -0.208266, -0.001854, -0.057992],
    [-0.222855, -0.223759, -0.172426, 0.000884, -0.049218],
    [-0.180039, -0.180777, -0.138841, 0.002688, -0.040618],
    [-0.139687, -0.140266, -0.107365, 0.003629, -0.032185],
    [-0.101645, -0.102071, -0.077863, 0.003774, -0.023912],
    [-0.065769, -0.066048, -0.050210, 0.003181, -0.015794],
    [-0.031928, -0.032065, -0.024291, 0.001906, -0.007825],
    [0.000000, 0.000000, 0.000000, 0.000000, 0.000000],
    [0.030129, 0.030261, 0.022761, -0.002492, 0.007687],
    [0.058564, 0.058824, 0.044083, -0.005525, 0.015240],
    [0.085402, 0.085785, 0.064052, -0.009062, 0.022664],
    [0.110734, 0.111235, 0.082744, -0.013065, 0.029963],
    [0.134643, 0.135260, 0.100234, -0.017500, 0.037142],
    [0.157209, 0.157938, 0.116590, -0.022337, 0.044204],
    [0.178506, 0.179342, 0.131875, -0.027546, 0.051153],
    [0.198600, 0.199540, 0.146148, -0.033101, 0.057992],
    [0.217556, 0.218598, 0.159464, -0.038976, 0.064725],
    [0.235435, 0.236574, 0.171875, -0.045149, 0.071356],
    [0.252291, 0.253526, 0.183430, -0.051599, 0.077887],
    [0.268178, 0.269505, 0.194174, -0.058305, 0.084321],
    [0.283145, 0.284562, 0.204149, -0.065249, 0.090661],
    [0.297238, 0.298741, 0.213395, -0.072414, 0.096910],
    [0.310500, 0.312088, 0.221949, -0.079783, 0.103070],
    [0.322973, 0.324643, 0.229847, -0.087342, 0.109144],
    [0.334694, 0.336444, 0.237122, -0.095076, 0.115135],
    [0.345701, 0.347528, 0.243804, -0.102974, 0.121044],
    [0.356026, 0.357930, 0.249924, -0.111021, 0.126873],
    [0.365704, 0.367680, 0.255509, -0.119208, 0.132626],
    [0.374763, 0.376811, 0.260584, -0.127523, 0.138303],
    [0.383232, 0.385350, 0.265176, -0.135956, 0.143907],
    [0.391140, 0.393326, 0.269305, -0.144499, 0.149439],
    [0.398511, 0.400763, 0.272996, -0.153142, 0.154902],
    [0.405370, 0.407686, 0.276268, -0.161877, 0.160297],
    [0.411739, 0.414119, 0.279141, -0.170697, 0.165626],
    [0.417642, 0.420082, 0.281634, -0.179595, 0.170890],
    [0.423097, 0.425598, 0.283765, -0.188563, 0.176091],
    [0.428126, 0.430684, 0.285549, -0.197596, 0.181231],
    [0.432746, 0.435362, 0.287003, -0.206687, 0.186310],
    [0.436975, 0.439647, 0.288143, -0.215831, 0.191331],
    [0.440831, 0.443556, 0.288981, -0.225023, 0.196295],
    [0.444328, 0.447107, 0.289532, -0.234257, 0.201202],
    [0.447483, 0.450314, 0.289809, -0.243530, 0.206054],
];

/// Last wavelength of the film in nm, log sensitivity at 400 nm, its slope per nm,
/// whether under D55 (else illuminant A), exposure of the speed point in lux s, speed.
/// Source: the definition, 0.8 / H, computed by a separate program.
#[rustfmt::skip]
const SPEEDS: [(f64, f64, f64, bool, f64, f64); 8] = [
    (680.0, 1.0, 0.0, true, 0.02678435, 29.8682),
    (680.0, 1.0, 0.0, false, 0.02789873, 28.6751),
    (680.0, 0.5, 0.0, true, 0.08469955, 9.4452),
    (680.0, 0.5, 0.0, false, 0.08822353, 9.0679),
    (750.0, 1.0, 0.0, true, 0.02219829, 36.0388),
    (750.0, 1.0, 0.0, false, 0.01792495, 44.6305),
    (700.0, 2.0, -0.005, true, 0.00936462, 85.4279),
    (700.0, 2.0, -0.005, false, 0.01647104, 48.5701),
];

/// Sun in degrees, hPa, aerosol, water, ozone; then irradiance from 300 to 4000 nm
/// in W/m² direct normal, sky, global; EV at ISO 100; 720-900 over 400-700 nm.
/// Source: SERI/TR-215-2436, computed with pvlib 0.16.1.
#[rustfmt::skip]
const SKIES: [[f64; 10]; 7] = [
    [10.0, 1013.0, 0.1, 1.42, 0.34, 484.6484, 42.6511, 126.8094, 12.3196, 0.4835],
    [30.0, 1013.0, 0.1, 1.42, 0.34, 795.6887, 82.4022, 480.2466, 14.3855, 0.4116],
    [60.0, 1013.0, 0.1, 1.42, 0.34, 926.5152, 107.6927, 910.0784, 15.3144, 0.3912],
    [45.0, 1013.0, 0.27, 1.42, 0.34, 752.6454, 163.2143, 695.4149, 14.9224, 0.4044],
    [45.0, 1013.0, 0.1, 0.5, 0.34, 919.3498, 99.2844, 749.3629, 14.9825, 0.4043],
    [45.0, 1013.0, 0.1, 1.42, 0.25, 884.8593, 98.7552, 724.4452, 14.9961, 0.3948],
    [45.0, 800.0, 0.05, 1.0, 0.3, 963.2193, 68.7012, 749.8001, 15.0231, 0.3923],
];

fn luminosity() -> Vec<(f64, f64)> {
    let column = reference::luminosity().unwrap().column("V").unwrap();
    column.into_iter().map(|(nm, v)| (nm, v.unwrap())).collect()
}

/// Daylight by the table of components and a temperature in K.
fn daylight(cct_k: f64) -> Vec<(f64, f64)> {
    let (m1, m2) = daylight_multipliers(cct_k).unwrap();
    let table = reference::daylight_components().unwrap();
    table
        .rows()
        .iter()
        .map(|(nm, s)| {
            let [s0, s1, s2] = [0, 1, 2].map(|i| s[i].unwrap());
            (*nm, s0 + m1 * s1 + m2 * s2)
        })
        .collect()
}

#[test]
fn daylight_is_the_published_table_at_each_wavelength() {
    // 5.1e-5: the four printed decimals.
    let named = |t: f64| t * 1.4388 / 1.4380;
    let temperatures = [
        named(5000.0),
        named(5500.0),
        named(6500.0),
        named(7500.0),
        4500.0,
        10_000.0,
    ];
    for (column, cct_k) in temperatures.into_iter().enumerate() {
        let ours = daylight(cct_k);
        assert_eq!(ours.len(), DAYLIGHT.len());
        for ((nm, got), (at, expected)) in ours.into_iter().zip(DAYLIGHT) {
            assert_eq!(nm, at);
            assert!(
                (got - expected[column]).abs() < 5.1e-5,
                "{cct_k} K, {nm} nm: {got}"
            );
        }
    }
}

#[test]
fn illuminant_a_is_the_published_table_at_each_wavelength() {
    for (i, expected) in ILLUMINANT_A.into_iter().enumerate() {
        let nm = 300.0 + 10.0 * i as f64;
        // The six printed decimals.
        let got = illuminant_a(nm);
        assert!((got - expected).abs() < 5.1e-7, "{nm} nm: {got}");
    }
}

/// The table takes 1.438777 cm K in Planck's law (CODATA 2018, rounded), the program 1.4388
/// (CIE 15), so the same body stands at a temperature higher by this factor.
const SAME_BODY: f64 = 1.4388 / 1.438777;

#[test]
fn wedge_spectrograms_are_moved_as_the_lamps_say() {
    let wavelengths = || (0..51).map(|i| 400.0 + 10.0 * f64::from(i));
    let curve = |kind, of: &dyn Fn(f64) -> f64| {
        let values: Vec<(f64, f64)> = wavelengths().map(|nm| (nm, of(nm))).collect();
        Curve::from_values(kind, "of the test", &values).unwrap()
    };
    let flat = curve(CurveKind::LogSensitivity, &|_| 1.0);
    let lamps: [&dyn Fn(f64) -> f64; 4] = [
        &illuminant_a,
        &|nm| planck(2850.0 * SAME_BODY, nm),
        &|nm| planck(3200.0 * SAME_BODY, nm),
        &|nm| planck(5500.0 * SAME_BODY, nm),
    ];
    for (column, lamp) in lamps.into_iter().enumerate() {
        let lamp = curve(CurveKind::RelativePower, lamp);
        let wedge = wedge_from_equal_energy(&flat, &lamp).unwrap();
        for ((nm, height), expected) in wedge.known().iter().zip(LOG_LAMPS) {
            let moved = height - 1.0;
            // 5.1e-7: the six printed decimals.
            assert!(
                (moved - expected[column]).abs() < 5.1e-7,
                "lamp {column}, {nm} nm: {moved}"
            );
        }
    }
    let photons = spectra::equal_energy_from_equal_photons(&flat).unwrap();
    for ((nm, height), expected) in photons.known().iter().zip(LOG_LAMPS) {
        assert!(
            (height - 1.0 - expected[4]).abs() < 5.1e-7,
            "{nm} nm: {height}"
        );
    }
}

#[test]
fn absolute_sensitivities_give_the_speeds_of_the_table() {
    let a: Vec<(f64, f64)> = (30..=110)
        .map(|i| f64::from(i) * 10.0)
        .map(|nm| (nm, illuminant_a(nm)))
        .collect();
    let of = |kind, values: &[(f64, f64)]| Curve::from_values(kind, "of the test", values).unwrap();
    let v = of(CurveKind::LuminousEfficiency, &luminosity());
    for (last, top, slope, under_d55, h, speed) in SPEEDS {
        let light = if under_d55 {
            daylight(5500.0 * 1.4388 / 1.4380)
        } else {
            a.clone()
        };
        let light = of(CurveKind::RelativePower, &light);
        let film: Vec<(f64, f64)> = (39..=76)
            .map(|i| f64::from(i) * 10.0)
            .map(|nm| {
                let inside = (400.0..=last).contains(&nm);
                (
                    nm,
                    if inside {
                        10.0_f64.powf(top + slope * (nm - 400.0))
                    } else {
                        0.0
                    },
                )
            })
            .collect();
        let found = speed_from_absolute(&of(CurveKind::Sensitivity, &film), &light, &v).unwrap();
        let got = found.speed_point.to_lux_seconds();
        // 1e-3: the table's integrals are sums of 10 nm, ours trapezoids with V every 5 nm.
        assert!(
            (got / h - 1.0).abs() < 1e-3,
            "to {last} nm: {got} lux s, {h}"
        );
        let got = found.speed.to_arithmetic();
        assert!(
            (got / speed - 1.0).abs() < 1e-3,
            "to {last} nm: S {got}, {speed}"
        );
    }
}

#[test]
fn clear_skies_have_the_irradiance_the_meter_reading_and_the_infrared_of_the_table() {
    let table = reference::clear_sky_coefficients().unwrap();
    let coefficients: Vec<SkyCoefficients> = table
        .rows()
        .iter()
        .map(|(nm, row)| SkyCoefficients {
            wavelength_nm: *nm,
            outside_w_m2_nm: row[0].unwrap(),
            water: row[1].unwrap(),
            ozone: row[2].unwrap(),
            mixed: row[3].unwrap(),
        })
        .collect();
    for [
        sun,
        hpa,
        aerosol,
        water,
        ozone,
        normal,
        diffuse,
        global,
        ev,
        share,
    ] in SKIES
    {
        let air = Air {
            pressure_hpa: hpa,
            aerosol_depth_500: aerosol,
            water_cm: water,
            ozone_atm_cm: ozone,
            ..Air::CLEAR
        };
        let sky = clear_sky(&coefficients, sun, 172, &air).unwrap();
        let total = |part: &dyn Fn(&SkyLight) -> f64| -> f64 {
            sky.windows(2)
                .map(|w| {
                    (w[1].wavelength_nm - w[0].wavelength_nm) * (part(&w[0]) + part(&w[1])) / 2.0
                })
                .sum()
        };
        for (got, expected) in [
            (total(&|l| l.direct_normal), normal),
            (total(&|l| l.diffuse_horizontal), diffuse),
            (total(&SkyLight::global_horizontal), global),
        ] {
            // Four printed decimals of at least 40.
            assert!(
                (got - expected).abs() < 1e-3,
                "{sun} degrees: {got}, {expected}"
            );
        }
        let points: Vec<(f64, f64)> = sky
            .iter()
            .map(|l| (l.wavelength_nm, l.global_horizontal()))
            .collect();
        // C = 250.
        let got = (illuminance_lux(&points, &luminosity()) / 2.5).log2();
        assert!((got - ev).abs() < 1e-3, "{sun} degrees: EV {got}, {ev}");
        let got = irradiance(&points, 720.0, 900.0) / irradiance(&points, 400.0, 700.0);
        assert!(
            (got / share - 1.0).abs() < 1e-3,
            "{sun} degrees: {got}, {share}"
        );
    }
}
