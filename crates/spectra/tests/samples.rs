//! Reads every sample spectrum that lies beside the workspace; ignored unless
//! asked for with `--ignored`, where there are any.
//!
//! Expected values: the samples' own table, whose numbers were computed with an
//! independent program (1 nm steps, straight lines between points, by energy,
//! plate curves zero outside their tables, ASTM G173-03 global sunlight).

#![expect(
    clippy::unwrap_used,
    reason = "a test stops where something is not as it should be"
)]

use spectra::read::cgats::{CgatsError, density_tables};
use spectra::read::jcamp::{JcampError, jcamp_spectra};
use spectra::read::{
    Answers, Notice, Purpose, ReadError, SpectralReading, ValueScale, WavelengthUnit,
    spectral_reading,
};
use std::path::{Path, PathBuf};

fn file(name: &str) -> PathBuf {
    let file = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("../../../shared/samples")
        .join(name);
    assert!(
        file.exists(),
        "no sample at {}; this test is for where they are",
        file.display()
    );
    file
}

fn bytes(name: &str) -> Vec<u8> {
    #[expect(clippy::disallowed_methods, reason = "a test hands the bytes in")]
    std::fs::read(file(name)).unwrap()
}

fn read(name: &str, purpose: Purpose, answers: &Answers) -> SpectralReading {
    spectral_reading(&bytes(name), purpose, answers)
        .unwrap_or_else(|error| panic!("{name}: {error}"))
}

fn refused(name: &str, purpose: Purpose, answers: &Answers) -> ReadError {
    match spectral_reading(&bytes(name), purpose, answers) {
        Err(error) => error,
        Ok(reading) => panic!("{name} was read with {} points", reading.points.len()),
    }
}

fn silent() -> Answers {
    Answers::default()
}

fn nm_fraction(column: &str) -> Answers {
    Answers {
        wavelength_unit: Some(WavelengthUnit::Nanometres),
        value_scale: Some(ValueScale::Fraction),
        column: Some(column.to_owned()),
        part: None,
    }
}

/// A curve as straight lines between its points.
struct Line(Vec<(f64, f64)>);

impl Line {
    fn of(reading: &SpectralReading) -> Self {
        Self(
            reading
                .points
                .iter()
                .filter_map(|point| Some((point.wavelength.to_nm(), point.value?)))
                .collect(),
        )
    }

    /// The value at a wavelength; `None` outside the table.
    fn at(&self, nm: f64) -> Option<f64> {
        let next = self.0.partition_point(|(at, _)| *at < nm);
        let (after, value_after) = *self.0.get(next)?;
        if after == nm {
            return Some(value_after);
        }
        let (before, value_before) = *self.0.get(next.checked_sub(1)?)?;
        Some(value_before + (value_after - value_before) * (nm - before) / (after - before))
    }

    /// Outermost wavelengths at which it crosses half its peak.
    fn half_peak(&self) -> (f64, f64) {
        let half = self
            .0
            .iter()
            .fold(0.0_f64, |peak, (_, value)| peak.max(*value))
            / 2.0;
        let crossings: Vec<f64> = self
            .0
            .windows(2)
            .filter(|pair| (pair[0].1 - half) * (pair[1].1 - half) <= 0.0 && pair[0].1 != pair[1].1)
            .map(|pair| {
                pair[0].0 + (half - pair[0].1) * (pair[1].0 - pair[0].0) / (pair[1].1 - pair[0].1)
            })
            .collect();
        (crossings[0], crossings[crossings.len() - 1])
    }
}

/// Sum over 1 nm of the product of curves; the plate is zero outside its table,
/// the others must cover it.
fn signal(plate: &Line, others: &[&Line]) -> f64 {
    (280..1100)
        .map(f64::from)
        .filter_map(|nm| {
            let response = plate.at(nm).filter(|response| *response > 0.0)?;
            Some(
                others
                    .iter()
                    .fold(response, |product, other| product * other.at(nm).unwrap()),
            )
        })
        .sum()
}

fn plate(name: &str) -> Line {
    let answers = Answers {
        wavelength_unit: Some(WavelengthUnit::Angstroms),
        value_scale: Some(ValueScale::Linear),
        ..Answers::default()
    };
    Line::of(&read(
        &format!("spectra/plates/{name}"),
        Purpose::Film,
        &answers,
    ))
}

fn filter(name: &str) -> Line {
    Line::of(&read(
        &format!("spectra/filters/{name}"),
        Purpose::Filter,
        &silent(),
    ))
}

fn sunlight() -> Line {
    let answers = Answers {
        wavelength_unit: Some(WavelengthUnit::Nanometres),
        column: Some("global".to_owned()),
        ..Answers::default()
    };
    Line::of(&read(
        "spectra/light/ASTMG173.csv",
        Purpose::Light,
        &answers,
    ))
}

#[test]
#[ignore = "needs the sample spectra beside the workspace"]
fn factors_of_real_filters_on_real_plates() {
    let light = sunlight();
    let gel = "Rosco-ND_EColour-no211-0.075mm-DDmm-LYR.CSV";
    let cases: [(&str, &[(&str, f64)]); 2] = [
        (
            "UKSTU-I-IVN-RG715.txt",
            &[
                ("longpass_680_maker1_52mm.csv", 0.042),
                ("longpass_720_maker1_72mm.csv", 0.044),
                ("longpass_760_maker1_52mm.csv", 0.087),
                ("longpass_850_maker1_72mm.csv", 0.398),
                (gel, 0.078),
                ("Firecrest-ND12-2.0mm-67x85mm-LYR.csv", 1.209),
            ],
        ),
        (
            "UKSTU-R-IIIaF-OG590.txt",
            &[
                ("longpass_650_maker2_52mm.csv", 0.292),
                ("longpass_680_maker1_52mm.csv", 0.827),
                ("longpass_720_maker1_72mm.csv", 1.569),
                (gel, 1.044),
            ],
        ),
    ];
    for (plate_name, filters) in cases {
        let plate = plate(plate_name);
        let without = signal(&plate, &[&light]);
        for (name, published) in filters {
            let seen = (without / signal(&plate, &[&light, &filter(name)])).log10();
            // 0.001: the table prints three digits.
            assert!(
                (seen - published).abs() < 0.001,
                "{plate_name} {name}: {seen} for {published}"
            );
        }
    }
}

#[test]
#[ignore = "needs the sample spectra beside the workspace"]
fn leaves_against_grey_on_real_plates() {
    let light = sunlight();
    let cases = [
        (
            "Betula_leaf_first_2010_0802_1_LICOR.csv",
            [-0.574, -0.536, 0.424],
        ),
        (
            "Quercus_leaf_sun_2010_0802_1_LICOR.csv",
            [-0.567, -0.538, 0.378],
        ),
        ("Pinus_leaf__2012_0222_1_LICOR.csv", [-0.569, -0.501, 0.325]),
        (
            "Quercus_leaf_yellow_2010_1007_1_LICOR.csv",
            [-0.150, 0.274, 0.361],
        ),
        ("Betula_trunk__2010_0803_1_LICOR.csv", [0.073, 0.352, 0.557]),
    ];
    let plates = [
        "UKSTU-J-IIIaJ-GG395.txt",
        "UKSTU-R-IIIaF-OG590.txt",
        "UKSTU-I-IVN-RG715.txt",
    ]
    .map(plate);
    for (name, published) in cases {
        let column = if name.contains("trunk") {
            "R"
        } else {
            "R(adaxial)"
        };
        let path = format!("spectra/foliage/{name}");
        let leaf = Line::of(&read(&path, Purpose::Subject, &nm_fraction(column)));
        for (plate, published) in plates.iter().zip(published) {
            // Where leaf and plate don't both have a value, neither side counts; the
            // bluest plate begins at 345 nm and the leaves at 350.
            let grey: f64 = covered(plate, &leaf, |_| 0.18, &light);
            let seen = (covered(plate, &leaf, |value| value, &light) / grey).log10();
            assert!(
                (seen - published).abs() < 0.002,
                "{name}: {seen} for {published}"
            );
        }
    }
}

/// Signal over the wavelengths that the leaf covers, its value replaced by `of`.
fn covered(plate: &Line, leaf: &Line, of: impl Fn(f64) -> f64, light: &Line) -> f64 {
    (280..1100)
        .map(f64::from)
        .filter_map(|nm| Some(plate.at(nm)? * of(leaf.at(nm)?) * light.at(nm)?))
        .sum()
}

#[test]
#[ignore = "needs the sample spectra beside the workspace"]
fn a_blue_plate_and_a_long_pass_filter_have_no_overlap() {
    // The plate ends at 520 nm, the filter opens at 688: what is left is the leak
    // and the floor of the spectrophotometer, some hundredths of a per cent.
    let light = sunlight();
    let extra = |plate_name, filter_name| {
        let plate = plate(plate_name);
        (signal(&plate, &[&light]) / signal(&plate, &[&light, &filter(filter_name)])).log10()
    };
    let blue = extra("POSSI-O-103aO-clear.txt", "longpass_680_maker1_52mm.csv");
    assert!(blue > 2.5, "{blue}");
    // The samples' table: 3.5, only the filter's leak.
    let red = extra("UKSTU-R-IIIaF-OG590.txt", "longpass_760_maker1_52mm.csv");
    assert!((red - 3.5).abs() < 0.05, "{red}");
}

#[test]
#[ignore = "needs the sample spectra beside the workspace"]
fn plates_are_asked_about_and_read() {
    let seen = refused(
        "spectra/plates/UKSTU-I-IVN-RG715.txt",
        Purpose::Film,
        &silent(),
    );
    assert_eq!(
        seen,
        ReadError::WhichUnit {
            first: 7000.0,
            last: 9700.0
        }
    );
    for (name, low, high) in [
        ("UKSTU-I-IVN-RG715.txt", 751.8, 926.9),
        ("UKSTU-R-IIIaF-OG590.txt", 618.5, 698.0),
        ("UKSTU-J-IIIaJ-GG395.txt", 380.1, 537.9),
        ("POSSI-O-103aO-clear.txt", 332.0, 487.3),
        ("POSSII-J-IIIaJ-GG395.txt", 421.3, 559.2),
    ] {
        let seen = plate(name).half_peak();
        // 0.06: one digit is printed.
        assert!(
            (seen.0 - low).abs() < 0.06 && (seen.1 - high).abs() < 0.06,
            "{name}: {seen:?}"
        );
    }
}

#[test]
#[ignore = "needs the sample spectra beside the workspace"]
fn repeated_wavelengths_are_told() {
    let answers = Answers {
        wavelength_unit: Some(WavelengthUnit::Angstroms),
        value_scale: Some(ValueScale::Linear),
        ..Answers::default()
    };
    let reading = read(
        "spectra/plates/POSS-V-IIaD-W12.txt",
        Purpose::Film,
        &answers,
    );
    let told = Notice::Repeated {
        count: 3,
        line: 21,
        wavelength_nm: 660.0,
    };
    assert_eq!(reading.notices, [told]);
    assert_eq!(reading.points.len(), 20);
}

#[test]
#[ignore = "needs the sample spectra beside the workspace"]
fn filters_are_read_without_an_answer() {
    for (name, half) in [
        ("longpass_650_maker2_52mm.csv", 650.8),
        ("longpass_680_maker1_52mm.csv", 688.0),
        ("longpass_720_maker1_72mm.csv", 707.2),
        ("longpass_760_maker1_52mm.csv", 749.0),
        ("longpass_850_maker1_72mm.csv", 835.2),
        ("longpass_yellow_450_maker2_52mm.csv", 460.1),
    ] {
        let path = format!("spectra/filters/{name}");
        let reading = read(&path, Purpose::Filter, &silent());
        assert_eq!(reading.value_scale, ValueScale::Percent);
        assert_eq!(reading.points.len(), 911, "190 to 1100 nm");
        let seen = Line::of(&reading).half_peak().0;
        // Noise of the instrument and the printed digit.
        assert!((seen - half).abs() < 0.1, "{name}: {seen} for {half}");
    }
    let short = filter("Hitech-ND-06-HL-1.75mm-85x110mm-LYR.CSV");
    assert_eq!(
        short.at(895.0).is_some(),
        short.at(896.0).is_none(),
        "ends at 895 nm"
    );
    let blank = filter("Agilent-blank-0mm-0mm-ABS.CSV");
    assert!((blank.at(550.0).unwrap() - 1.0).abs() < 0.002);
}

#[test]
#[ignore = "needs the sample spectra beside the workspace"]
fn gelatin_filters_are_asked_for_by_column_and_taken_as_their_remark_says() {
    let name = "spectra/filters/gelatin_infrared_filters_700-950nm.csv";
    let seen = refused(name, Purpose::Filter, &silent());
    assert!(
        matches!(&seen, ReadError::WhichColumn { columns } if columns.len() == 4),
        "{seen}"
    );
    for (column, half) in [
        ("No_87", 790.8),
        ("No_87C", 852.0),
        ("No_88A", 745.0),
        ("No_89B", 715.1),
    ] {
        let answers = Answers {
            column: Some(column.to_owned()),
            ..Answers::default()
        };
        let reading = read(name, Purpose::Filter, &answers);
        assert_eq!(reading.value_scale, ValueScale::Percent);
        assert!(matches!(
            reading.notices[..],
            [Notice::ScaleFromRemark { line: 1, .. }]
        ));
        let seen = Line::of(&reading).half_peak().0;
        assert!((seen - half).abs() < 0.06, "{column}: {seen} for {half}");
    }
}

#[test]
#[ignore = "needs the sample spectra beside the workspace"]
fn leaves_are_asked_about_and_their_holes_are_kept() {
    let name = "spectra/foliage/Betula_leaf_first_2010_0802_1_LICOR.csv";
    let seen = refused(name, Purpose::Subject, &silent());
    let columns = ["R(adaxial)", "T(adaxial)", "R(abaxial)", "T(abaxial)"];
    let wanted: Vec<(usize, String)> = (2..)
        .zip(columns)
        .map(|(number, name)| (number, name.to_owned()))
        .collect();
    assert_eq!(seen, ReadError::WhichColumn { columns: wanted });
    let column = Answers {
        column: Some("R(adaxial)".to_owned()),
        ..Answers::default()
    };
    assert!(matches!(
        refused(name, Purpose::Subject, &column),
        ReadError::WhichUnit { .. }
    ));
    let unit = Answers {
        wavelength_unit: Some(WavelengthUnit::Nanometres),
        ..column
    };
    assert!(matches!(
        refused(name, Purpose::Subject, &unit),
        ReadError::WhichScale { .. }
    ));
    let reading = read(name, Purpose::Subject, &nm_fraction("R(adaxial)"));
    let holes = reading
        .points
        .iter()
        .filter(|point| point.value.is_none())
        .count();
    assert_eq!((reading.points.len(), holes), (2151, 601));
    // The needles' transmittance is noise about zero in the ultraviolet.
    let needles = "spectra/foliage/Pinus_leaf__2012_0222_1_LICOR.csv";
    let reading = read(needles, Purpose::Subject, &nm_fraction("T(adaxial)"));
    assert!(
        reading
            .notices
            .iter()
            .any(|notice| matches!(notice, Notice::BelowZero { .. }))
    );
}

#[test]
#[ignore = "needs the sample spectra beside the workspace"]
fn library_files_in_micrometres_and_per_cent_are_read_both_ways_round() {
    let folder = "spectra/materials/jhu.becknic.";
    for (name, count, first, last, falling) in [
        (
            "vegetation.trees.deciduous.solid.decidou.spectrum.txt",
            550,
            302.0,
            14_000.0,
            false,
        ),
        (
            "soil.mollisol.cryoboroll.coarse.85P4663.spectrum.txt",
            2844,
            400.0,
            14_011.2,
            true,
        ),
        (
            "manmade.asphalt.paving.solid.0095uuu.spectrum.txt",
            0,
            420.0,
            14_000.0,
            false,
        ),
    ] {
        let reading = read(&format!("{folder}{name}"), Purpose::Subject, &silent());
        assert!(
            count == 0 || reading.points.len() == count,
            "{name}: {}",
            reading.points.len()
        );
        let ends = (reading.points[0], reading.points[reading.points.len() - 1]);
        assert!(
            (ends.0.wavelength.to_nm() - first).abs() < 0.01,
            "{name}: {ends:?}"
        );
        assert!(
            (ends.1.wavelength.to_nm() - last).abs() < 0.1,
            "{name}: {ends:?}"
        );
        assert_eq!(
            reading.notices.contains(&Notice::Falling),
            falling,
            "{name}"
        );
        assert_eq!(reading.value_scale, ValueScale::Percent);
    }
    let leaves = format!("{folder}vegetation.trees.deciduous.solid.decidou.spectrum.txt");
    assert_eq!(
        read(&leaves, Purpose::Subject, &silent()).points[0].value,
        Some(0.04948)
    );
    let name = "spectra/materials/built_materials.csv";
    let roof = Answers {
        column: Some("fttrmm.002".to_owned()),
        ..Answers::default()
    };
    let reading = read(name, Purpose::Subject, &roof);
    assert_eq!(reading.wavelength_unit, WavelengthUnit::Micrometres);
    assert_eq!(reading.points[0].value, Some(0.0405));
    assert!((reading.points[0].wavelength.to_nm() - 400.0).abs() < 1e-9);
}

#[test]
#[ignore = "needs the sample spectra beside the workspace"]
fn infrared_and_graphs_in_jcamp_are_refused_each_for_its_reason() {
    for (name, points) in [("pacdec1.jdx", 3301), ("dupdec2.jdx", 3951)] {
        let path = format!("jcamp/{name}");
        assert_eq!(
            jcamp_spectra(&bytes(&path)).unwrap()[0].points.len(),
            points
        );
        let seen = refused(&path, Purpose::Filter, &silent());
        assert!(
            matches!(seen, ReadError::NoOverlapWithFilm { .. }),
            "{name}: {seen}"
        );
    }
    for (name, points) in [("fixinc4.jdx", 81), ("fixdec3.jdx", 360)] {
        let path = format!("jcamp/{name}");
        assert_eq!(
            jcamp_spectra(&bytes(&path)).unwrap()[0].points.len(),
            points
        );
        let seen = refused(&path, Purpose::Filter, &silent());
        assert!(
            matches!(seen, ReadError::Jcamp(JcampError::OtherAbscissa { .. })),
            "{name}: {seen}"
        );
    }
    for name in ["pktab1.jdx", "mactab1.jdx"] {
        let seen = refused(&format!("jcamp/{name}"), Purpose::Filter, &silent());
        assert!(
            matches!(seen, ReadError::Jcamp(JcampError::PeakTable { .. })),
            "{name}: {seen}"
        );
    }
    let seen = refused("jcamp/toluene.jdx", Purpose::Filter, &silent());
    assert!(matches!(seen, ReadError::OtherQuantity { .. }), "{seen}");
}

#[test]
#[ignore = "needs the sample spectra beside the workspace"]
fn packed_jcamp_spectra_give_the_values_their_heads_name() {
    // dupdec2: ##FIRSTY= 0.5839, a ratio, though ##MINY= 0.19 and ##MAXY= 79.17 are
    // per cent; pacdec1: first value 101.60.
    let spectrum = &jcamp_spectra(&bytes("jcamp/dupdec2.jdx")).unwrap()[0];
    let values: Vec<f64> = spectrum.points.iter().filter_map(|(_, y)| *y).collect();
    let low = values.iter().copied().fold(f64::INFINITY, f64::min);
    let high = values.iter().copied().fold(0.0, f64::max);
    assert!(
        values[0] == 0.5839 && (low - 0.0019).abs() < 1e-4 && (high - 0.7917).abs() < 1e-4,
        "{low} to {high}"
    );
    let spectrum = &jcamp_spectra(&bytes("jcamp/pacdec1.jdx")).unwrap()[0];
    assert_eq!(spectrum.points[0], (4000.0, Some(101.60000000000001)));
    // dupinc1: 250 to 469.5 nm, 440 points, ##MAXY= 3.3747, absorbance. Its ##MINY= is of
    // another range; a second unpacking of the table (in Python) gives 0.0769.
    let reading = read("jcamp/dupinc1.jdx", Purpose::Filter, &silent());
    assert_eq!(reading.value_scale, ValueScale::Density);
    assert_eq!(reading.points.len(), 440);
    let densities: Vec<f64> = reading
        .points
        .iter()
        .filter_map(|point| point.value.map(|t| -t.log10()))
        .collect();
    let low = densities.iter().copied().fold(f64::INFINITY, f64::min);
    let high = densities.iter().copied().fold(0.0, f64::max);
    assert!(
        (low - 0.0769).abs() < 1e-6 && (high - 3.3747).abs() < 1e-6,
        "{low} to {high}"
    );
    assert_eq!(reading.points[439].wavelength.to_nm(), 469.5);
}

#[test]
#[ignore = "needs the sample spectra beside the workspace"]
fn a_link_of_five_spectra_is_asked_about() {
    let name = "jcamp/blckpac1.jdx";
    let seen = refused(name, Purpose::Filter, &silent());
    assert!(
        matches!(&seen, ReadError::WhichPart { parts } if parts.len() == 5),
        "{seen}"
    );
    for part in 1..=5 {
        let answers = Answers {
            part: Some(part.to_string()),
            ..Answers::default()
        };
        let reading = read(name, Purpose::Filter, &answers);
        assert_eq!(reading.points.len(), 176);
        assert_eq!(reading.points[0].wavelength.to_nm(), 350.0);
        assert_eq!(reading.value_scale, ValueScale::Density);
        // ##FIRSTY= holds the largest value and not the first.
        assert!(
            reading
                .notices
                .iter()
                .any(|n| matches!(n, Notice::FirstValueDiffers { .. }))
        );
    }
}

#[test]
#[ignore = "needs the sample spectra beside the workspace"]
fn cgats_densities_and_their_look_alike() {
    let tables = density_tables(&bytes("cgats/colorburst0_reindex.txt")).unwrap();
    assert_eq!(tables[0].fields, ["D_RED", "D_GREEN", "D_BLUE", "D_VIS"]);
    let first = [Some(0.062), Some(0.047), Some(-0.012), Some(0.056)];
    assert_eq!(tables[0].rows[0].densities, first);
    assert!(tables[0].rows.len() > 80, "{}", tables[0].rows.len());
    let seen = density_tables(&bytes("cgats/colorburst0.txt"));
    assert_eq!(
        seen,
        Err(ReadError::Cgats(CgatsError::NoFormat { line: 2 }))
    );
    let seen = density_tables(&bytes("cgats/cgats1.tsv"));
    assert!(matches!(
        seen,
        Err(ReadError::Cgats(CgatsError::NoDensities { .. }))
    ));
}

#[test]
#[ignore = "needs the sample spectra beside the workspace"]
fn a_wide_table_is_read_by_column_and_noise_beyond_film_left_out() {
    let name = "spectra/chart_and_filters/spectra_averaged.csv";
    let seen = refused(name, Purpose::Filter, &silent());
    assert!(
        matches!(&seen, ReadError::WhichColumn { columns } if columns.len() > 30),
        "{seen}"
    );
    let reading = read(name, Purpose::Filter, &nm_fraction("700 nm"));
    assert!(
        reading
            .notices
            .iter()
            .any(|notice| matches!(notice, Notice::BeyondFilm { .. }))
    );
    // The peak of the band stands in the file as 0.738317, within 10 nm of 692.
    let peak = reading
        .points
        .iter()
        .filter(|point| (600.0..720.0).contains(&point.wavelength.to_nm()))
        .max_by(|a, b| a.value.partial_cmp(&b.value).unwrap())
        .unwrap();
    assert_eq!(peak.value, Some(0.738317));
    assert!((peak.wavelength.to_nm() - 692.0).abs() < 10.0);
}
