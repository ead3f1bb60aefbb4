//! Sun and clear sky against published algorithms computed elsewhere.

#![expect(
    clippy::unwrap_used,
    reason = "functions of a test may panic on a broken table"
)]

use quantity::Celsius;
use spectra::clear_sky::{Air, SkyCoefficients, SkyLight, clear_sky, relative_air_mass};
use spectra::lamp::{daylight_multipliers, illuminant_a};
use spectra::seen::{between, film_against_meter_stops, illuminance_lux, irradiance, seen};
use spectra::sun_position::{Place, sun_position};
use spectra::tilted_plane::Plane;

/// Name, seconds since 1970, latitude, longitude, height m, hPa, °C, apparent
/// elevation, azimuth. Source: NREL/TP-560-34302, computed with pvlib 0.16.1;
/// the first row is the report's own example.
type Sun = (&'static str, f64, f64, f64, f64, f64, f64, f64, f64);
#[rustfmt::skip]
const SUNS: &[Sun] = &[
    ("SPA_paper 2003-10-17T19:30:30Z", 1066419030.0, 39.742476, -105.1786, 1830.14, 820.0, 11.0, 39.888378, 194.340241),
    ("P2 2024-12-21T12:00:00Z", 1734782400.0, 51.4779, 0.0, 0.0, 1013.25, 5.0, 15.142649, 180.405930),
    ("P4 2025-01-15T02:00:00Z", 1736906400.0, -33.8688, 151.2093, 20.0, 1013.25, 25.0, 77.196421, 4.740474),
    ("P6 2023-09-23T06:50:00Z", 1695451800.0, 0.0, 0.0, 0.0, 1013.25, 27.0, 14.424746, 90.000057),
    ("P8 2025-05-05T05:00:00Z", 1746421200.0, 35.6762, 139.6503, 40.0, 1013.25, 20.0, 53.023048, 247.786687),
];

/// Name, sun °, hPa, aerosol, exponent, water, ozone, day, ground; then lux
/// global, diffuse, direct normal, and 700-900 over 400-700 nm. Source:
/// SERI/TR-215-2436, computed with pvlib 0.16.1.
type Condition = (
    &'static str,
    f64,
    f64,
    f64,
    f64,
    f64,
    f64,
    u16,
    f64,
    f64,
    f64,
    f64,
    f64,
);
#[rustfmt::skip]
const CONDITIONS: &[Condition] = &[
    ("A", 10.0, 1013.0, 0.1, 1.14, 1.42, 0.34, 172, 0.2, 12779.6, 5940.2, 39386.3, 0.5465),
    ("C", 30.0, 1013.0, 0.1, 1.14, 1.42, 0.34, 172, 0.2, 53505.0, 11558.6, 83892.8, 0.4679),
    ("E", 60.0, 1013.0, 0.1, 1.14, 1.42, 0.34, 172, 0.2, 101869.9, 14805.8, 100532.9, 0.4452),
    ("G", 45.0, 1013.0, 0.27, 1.14, 1.42, 0.34, 172, 0.2, 77629.9, 23265.2, 76883.3, 0.4600),
    ("I", 45.0, 1013.0, 0.1, 1.14, 0.5, 0.34, 172, 0.2, 80929.7, 13609.1, 95205.7, 0.4600),
    ("K", 45.0, 1013.0, 0.1, 1.14, 1.42, 0.25, 172, 0.2, 81697.4, 13730.8, 96119.2, 0.4492),
    ("M", 45.0, 800.0, 0.05, 1.14, 1.0, 0.3, 172, 0.2, 83241.5, 9180.2, 104738.6, 0.4464),
];

/// Condition, nm, direct normal, direct horizontal, diffuse, W/m² per nm. Same source.
type Light = (&'static str, f64, f64, f64, f64);
#[rustfmt::skip]
const LIGHTS: &[Light] = &[
    ("A", 450.0, 0.29464997, 0.05116543, 0.13331377),
    ("A", 550.0, 0.55098158, 0.09567695, 0.08509485),
    ("A", 650.0, 0.66293187, 0.11511691, 0.05778951),
    ("A", 700.0, 0.66800793, 0.11599836, 0.04718321),
    ("A", 720.0, 0.56218662, 0.09762268, 0.03690851),
    ("A", 740.0, 0.70360657, 0.12218000, 0.04332962),
    ("A", 760.0, 0.50595867, 0.08785880, 0.02924291),
    ("A", 800.0, 0.69007876, 0.11983092, 0.03544345),
    ("A", 850.0, 0.63399160, 0.11009149, 0.02853777),
    ("C", 450.0, 0.98968027, 0.49484013, 0.26743216),
    ("C", 550.0, 1.18824066, 0.59412033, 0.16580239),
    ("C", 650.0, 1.11925254, 0.55962627, 0.10208097),
    ("C", 700.0, 1.03747881, 0.51873941, 0.07960496),
    ("C", 720.0, 0.92083023, 0.46041512, 0.06608471),
    ("C", 740.0, 1.01377622, 0.50688811, 0.06930995),
    ("C", 760.0, 0.79710686, 0.39855343, 0.05124477),
    ("C", 800.0, 0.93296214, 0.46648107, 0.05455832),
    ("C", 850.0, 0.83184799, 0.41592400, 0.04331860),
    ("E", 450.0, 1.31410346, 1.13804698, 0.35191314),
    ("E", 550.0, 1.42518018, 1.23424224, 0.21219961),
    ("E", 650.0, 1.26745978, 1.09765237, 0.12654422),
    ("E", 700.0, 1.15585270, 1.00099780, 0.09760607),
    ("E", 720.0, 1.04762844, 0.90727285, 0.08259291),
    ("E", 740.0, 1.10679871, 0.95851580, 0.08366494),
    ("E", 760.0, 0.90606053, 0.78467144, 0.06412011),
    ("E", 800.0, 1.00268358, 0.86834946, 0.06514365),
    ("E", 850.0, 0.88800508, 0.76903496, 0.05152633),
    ("G", 450.0, 0.91861197, 0.64955675, 0.45608846),
    ("G", 550.0, 1.08640724, 0.76820593, 0.33404824),
    ("G", 650.0, 1.02070800, 0.72174955, 0.22692223),
    ("G", 700.0, 0.94896559, 0.67102000, 0.18386399),
    ("G", 720.0, 0.85828903, 0.60690199, 0.15736701),
    ("G", 740.0, 0.92374112, 0.65318361, 0.16298785),
    ("G", 760.0, 0.74895237, 0.52958930, 0.12536217),
    ("G", 800.0, 0.85201357, 0.60246457, 0.13202347),
    ("G", 850.0, 0.76323009, 0.53968517, 0.10714809),
    ("I", 450.0, 1.20429822, 0.85156744, 0.31983821),
    ("I", 550.0, 1.34755611, 0.95286606, 0.19485968),
    ("I", 650.0, 1.21981374, 0.86253857, 0.11746044),
    ("I", 700.0, 1.12134572, 0.79291116, 0.09125996),
    ("I", 720.0, 1.06627413, 0.75396967, 0.08153458),
    ("I", 740.0, 1.08676773, 0.76846083, 0.07911310),
    ("I", 760.0, 0.86940706, 0.61476363, 0.05931982),
    ("I", 800.0, 0.98693500, 0.69786843, 0.06165410),
    ("I", 850.0, 0.87671022, 0.61992774, 0.04888933),
    ("K", 450.0, 1.20475659, 0.85189156, 0.31995994),
    ("K", 550.0, 1.36216390, 0.96319533, 0.19697200),
    ("K", 650.0, 1.23085305, 0.87034454, 0.11852993),
    ("K", 700.0, 1.12085845, 0.79256661, 0.09118645),
    ("K", 720.0, 1.00747438, 0.71239197, 0.07660093),
    ("K", 740.0, 1.07846306, 0.76258854, 0.07843402),
    ("K", 760.0, 0.87011875, 0.61526687, 0.05936830),
    ("K", 800.0, 0.98056872, 0.69336679, 0.06121641),
    ("K", 850.0, 0.87019368, 0.61531985, 0.04848412),
    ("M", 450.0, 1.39394502, 0.98566798, 0.23788268),
    ("M", 550.0, 1.48531444, 1.05027591, 0.13132106),
    ("M", 650.0, 1.30994339, 0.92626986, 0.07354113),
    ("M", 700.0, 1.19385422, 0.84418242, 0.05547788),
    ("M", 720.0, 1.09012164, 0.77083240, 0.04700982),
    ("M", 740.0, 1.14154088, 0.80719130, 0.04675216),
    ("M", 760.0, 0.93501412, 0.66115483, 0.03564795),
    ("M", 800.0, 1.03124518, 0.72920046, 0.03559635),
    ("M", 850.0, 0.91166328, 0.64464329, 0.02773021),
];

fn coefficients() -> Vec<SkyCoefficients> {
    reference::clear_sky_coefficients()
        .unwrap()
        .rows()
        .iter()
        .map(|(nm, row)| SkyCoefficients {
            wavelength_nm: *nm,
            outside_w_m2_nm: row[0].unwrap(),
            water: row[1].unwrap(),
            ozone: row[2].unwrap(),
            mixed: row[3].unwrap(),
        })
        .collect()
}

fn luminosity() -> Vec<(f64, f64)> {
    let table = reference::luminosity().unwrap();
    let column = table.column("V").unwrap();
    column.into_iter().map(|(nm, v)| (nm, v.unwrap())).collect()
}

fn sky(condition: &Condition) -> Vec<SkyLight> {
    let air = Air {
        pressure_hpa: condition.2,
        aerosol_depth_500: condition.3,
        aerosol_exponent: condition.4,
        water_cm: condition.5,
        ozone_atm_cm: condition.6,
        ground_reflectance: condition.8,
    };
    clear_sky(&coefficients(), condition.1, condition.7, &air).unwrap()
}

fn points(sky: &[SkyLight], part: impl Fn(&SkyLight) -> f64) -> Vec<(f64, f64)> {
    sky.iter().map(|l| (l.wavelength_nm, part(l))).collect()
}

fn clear(sun_deg: f64) -> Vec<SkyLight> {
    clear_sky(&coefficients(), sun_deg, 172, &Air::CLEAR).unwrap()
}

#[test]
fn the_sun_stands_where_the_published_algorithm_puts_it() {
    for &(name, at, latitude_deg, longitude_deg, height_m, pressure_hpa, c, elevation, azimuth) in
        SUNS
    {
        let place = Place {
            latitude_deg,
            longitude_deg,
            height_m,
            pressure_hpa,
            temperature: Celsius::from_c(c).unwrap(),
        };
        let sun = sun_position(&place, at).unwrap();
        let off = (sun.apparent_elevation_deg - elevation).abs();
        assert!(off < 0.001, "{name}: {}", sun.apparent_elevation_deg);
        // The azimuth near the zenith and at the pole turns fast.
        assert!(
            (sun.azimuth_deg - azimuth).abs() < 0.003,
            "{name}: {}",
            sun.azimuth_deg
        );
    }
}

#[test]
fn places_and_times_without_meaning_are_refused() {
    let place = Place {
        latitude_deg: 91.0,
        longitude_deg: 0.0,
        height_m: 0.0,
        pressure_hpa: 1013.0,
        temperature: Celsius::from_c(10.0).unwrap(),
    };
    let error = sun_position(&place, 0.0).unwrap_err().to_string();
    assert!(
        error.contains("latitude") && error.contains("91"),
        "{error}"
    );
    let place = Place {
        latitude_deg: 0.0,
        ..place
    };
    assert!(sun_position(&place, 1e12).is_err());
    assert!(sun_position(&place, f64::NAN).is_err());
}

#[test]
fn the_clear_sky_is_the_published_model() {
    for condition in CONDITIONS {
        let sky = sky(condition);
        for &(name, nm, normal, level, diffuse) in LIGHTS.iter().filter(|l| l.0 == condition.0) {
            for (what, got, expected) in [
                (
                    "normal",
                    between(&points(&sky, |l| l.direct_normal), nm),
                    normal,
                ),
                (
                    "level",
                    between(&points(&sky, |l| l.direct_horizontal), nm),
                    level,
                ),
                (
                    "sky",
                    between(&points(&sky, |l| l.diffuse_horizontal), nm),
                    diffuse,
                ),
            ] {
                let relative = (got / expected - 1.0).abs();
                // The table has eight decimals.
                assert!(relative < 1e-6, "{name} {nm} nm {what}: {got} {expected}");
            }
        }
    }
}

#[test]
fn illuminance_and_infrared_share_are_the_published_models() {
    let v = luminosity();
    for condition in CONDITIONS {
        let sky = sky(condition);
        let global = points(&sky, SkyLight::global_horizontal);
        for (what, light, expected) in [
            ("global", global.clone(), condition.9),
            ("sky", points(&sky, |l| l.diffuse_horizontal), condition.10),
            ("normal", points(&sky, |l| l.direct_normal), condition.11),
        ] {
            let got = illuminance_lux(&light, &v);
            let relative = (got / expected - 1.0).abs();
            assert!(relative < 5e-4, "{} {what}: {got}, {expected}", condition.0);
        }
        let ratio = irradiance(&global, 700.0, 900.0) / irradiance(&global, 400.0, 700.0);
        assert!(
            (ratio / condition.12 - 1.0).abs() < 1e-3,
            "{}: {ratio}",
            condition.0
        );
    }
}

#[test]
fn v_has_its_published_sum() {
    // Source: CIE 018:2019, sum of V(lambda) every 1 nm from 360 to 830 nm: 106.85692;
    // straight lines between every fifth value come within 0.05 %.
    let v = luminosity();
    let even = [(300.0, 1.0), (1100.0, 1.0)];
    let sum = seen(&even, |nm| between(&v, nm));
    assert!((sum / 106.85692 - 1.0).abs() < 5e-4, "{sum}");
}

#[test]
fn daylight_of_6500_k_is_the_published_one() {
    // Source: CIE 15, D65 (standard's table, to its last printed digit at 10 nm).
    let table = reference::daylight_components().unwrap();
    let (m1, m2) = daylight_multipliers(6500.0 * 1.4388 / 1.4380).unwrap();
    for (nm, expected) in [(300.0, 0.0341), (330.0, 37.0535), (560.0, 100.0)] {
        let row = &table.rows().iter().find(|r| r.0 == nm).unwrap().1;
        let got = row[0].unwrap() + m1 * row[1].unwrap() + m2 * row[2].unwrap();
        assert!((got - expected).abs() < 5e-4, "{nm}: {got}");
    }
    assert!((illuminant_a(560.0) - 100.0).abs() < 1e-12);
}

#[test]
fn a_low_sun_has_more_infrared_and_air_mass_falls_with_height() {
    let share = |deg: f64| {
        let global = points(&clear(deg), SkyLight::global_horizontal);
        irradiance(&global, 700.0, 900.0) / irradiance(&global, 400.0, 700.0)
    };
    // Source: SERI/TR-215-2436, computed: 0.547 at 10 degrees, 0.443 at 70.
    assert!((share(10.0) - 0.547).abs() < 0.002 && (share(70.0) - 0.443).abs() < 0.002);
    let mut before = f64::INFINITY;
    for deg in 1..=90 {
        let mass = relative_air_mass(90.0 - f64::from(deg));
        assert!(mass < before && mass > 0.99, "{deg}");
        before = mass;
        for light in clear(f64::from(deg)) {
            for part in [
                light.direct_normal,
                light.direct_horizontal,
                light.diffuse_horizontal,
                light.sunward_vertical,
            ] {
                assert!(part.is_finite() && part >= 0.0, "{deg}: {light:?}");
            }
        }
    }
}

#[test]
fn open_shade_loses_near_infrared_against_what_the_meter_says() {
    let v = luminosity();
    let sky = clear(45.0);
    let sunlit = points(&sky, SkyLight::global_horizontal);
    let shade = points(&sky, |l| l.diffuse_horizontal);
    let behind = |from: f64| move |nm: f64| f64::from(u8::from(nm > from && nm < 900.0));
    let loss = |from| {
        film_against_meter_stops(&sunlit, &shade, behind(from), |nm| between(&v, nm)).unwrap()
    };
    // Common practice: one to two stops more in the shade behind such filters.
    assert!((-2.5..-0.8).contains(&loss(720.0)), "{}", loss(720.0));
    assert!(loss(800.0) < loss(720.0));
}

#[test]
fn a_sun_at_the_horizon_and_air_without_meaning_are_refused() {
    let table = coefficients();
    assert!(clear_sky(&table, 0.5, 172, &Air::CLEAR).is_err());
    assert!(clear_sky(&table, f64::NAN, 172, &Air::CLEAR).is_err());
    let air = Air {
        water_cm: -1.0,
        ..Air::CLEAR
    };
    let error = clear_sky(&table, 45.0, 172, &air).unwrap_err().to_string();
    assert!(error.contains("water") && error.contains("-1"), "{error}");
}

/// Sun's elevation and azimuth, tilt and facing of the plane in degrees, then light on the
/// plane at 400, 550, 690 and 780 nm, W/m² per nm, on day 172 in the clear air of the report
/// with ground 0.2: `pvlib` 0.16.1, `spectrl2(...)['poa_global']`.
const ON_PLANES: [([f64; 4], [f64; 4]); 3] = [
    (
        [40.0, 180.0, 30.0, 180.0],
        [0.936_916_65, 1.486_856_63, 1.119_662_92, 1.043_442_52],
    ),
    (
        [25.0, 120.0, 90.0, 90.0],
        [0.573_998_59, 1.124_093_22, 0.889_182_03, 0.872_342_81],
    ),
    // The sun is behind this one.
    (
        [25.0, 120.0, 90.0, 300.0],
        [0.107_032_50, 0.092_020_46, 0.058_455_03, 0.050_322_54],
    ),
];

#[test]
fn light_on_a_tilted_plane_is_the_published_model() {
    let table = coefficients();
    for ([sun, azimuth, tilt, facing], expected) in ON_PLANES {
        let plane = Plane::from_degrees(tilt, facing).unwrap();
        let sky = clear_sky(&table, sun, 172, &Air::CLEAR).unwrap();
        for (nm, expected) in [400.0, 550.0, 690.0, 780.0].into_iter().zip(expected) {
            let light = sky.iter().find(|l| l.wavelength_nm == nm).unwrap();
            let on = plane.light_on(light, sun, azimuth, Air::CLEAR.ground_reflectance);
            assert!(
                (on / expected - 1.0).abs() < 1e-6,
                "{tilt}° facing {facing}°, {nm} nm: {on}, {expected}"
            );
        }
    }
}

#[test]
fn a_level_plane_gets_what_the_ground_gets_whatever_it_faces() {
    for facing in [0.0, 77.0, -120.0] {
        let plane = Plane::from_degrees(0.0, facing).unwrap();
        for light in clear_sky(&coefficients(), 33.0, 100, &Air::CLEAR).unwrap() {
            let on = plane.light_on(&light, 33.0, 140.0, 0.2);
            assert!((on - light.global_horizontal()).abs() <= 1e-12 * on.max(1e-12));
        }
    }
    assert!(Plane::from_degrees(181.0, 0.0).is_err());
    assert!(Plane::from_degrees(f64::NAN, 0.0).is_err());
    assert!(Plane::from_degrees(30.0, 500.0).is_err());
}
