//! Reads spectral files as they come, and refuses what gives no curve.
//!
//! The two JCAMP-DX texts and the CGATS text are written by hand after the
//! published forms (McDonald & Wilks 1988; CGATS.17) with invented values, so
//! each expected number can be read off the text beside it.

use proptest::prelude::*;
use spectra::read::cgats::{CgatsError, density_tables};
use spectra::read::jcamp::JcampError;
use spectra::read::{
    Answers, Notice, Purpose, ReadError, SpectralReading, ValueScale, WavelengthUnit,
    spectral_reading,
};

fn read(text: &str, purpose: Purpose) -> Result<SpectralReading, ReadError> {
    spectral_reading(text.as_bytes(), purpose, &Answers::default())
}

fn answering(
    text: &str,
    purpose: Purpose,
    answer: impl FnOnce(&mut Answers),
) -> Result<SpectralReading, ReadError> {
    let mut answers = Answers::default();
    answer(&mut answers);
    spectral_reading(text.as_bytes(), purpose, &answers)
}

fn points(reading: &SpectralReading) -> Vec<(f64, Option<f64>)> {
    reading
        .points
        .iter()
        .map(|point| (point.wavelength.to_nm(), point.value))
        .collect()
}

fn assert_points(reading: &SpectralReading, wanted: &[(f64, Option<f64>)]) {
    let seen = points(reading);
    assert_eq!(seen.len(), wanted.len(), "{seen:?}");
    for (seen, wanted) in seen.iter().zip(wanted) {
        // 1e-9: unit changes are one multiplication or division.
        assert!(
            (seen.0 - wanted.0).abs() < 1e-9,
            "{seen:?} against {wanted:?}"
        );
        match (seen.1, wanted.1) {
            (None, None) => {}
            (Some(a), Some(b)) => assert!((a - b).abs() < 1e-12, "{seen:?} against {wanted:?}"),
            _ => panic!("{seen:?} against {wanted:?}"),
        }
    }
}

const FILTER_JDX: &str = "##TITLE= Example long-pass filter (invented values)
##JCAMP-DX= 4.24 $$ written by hand as a format example
##DATA TYPE= UV/VIS SPECTRUM
##ORIGIN= format example
##OWNER= public domain
##XUNITS= NANOMETERS
##YUNITS= TRANSMITTANCE
##FIRSTX= 680
##LASTX= 790
##DELTAX= 10
##XFACTOR= 1
##YFACTOR= 0.001
##NPOINTS= 12
##FIRSTY= 0.001
##XYDATA= (X++(Y..Y))
680 1 15 90 280
720 520 700 830 905
760 945 965 975 980
##END=
";

const FILM_JDX: &str =
    "##TITLE= Example film spectral sensitivity, log10(cm2/erg) (invented values)
##JCAMP-DX= 4.24
##DATA TYPE= UV/VIS SPECTRUM
##ORIGIN= format example
##OWNER= public domain
##XUNITS= NANOMETERS
##YUNITS= ARBITRARY UNITS
##FIRSTX= 400
##LASTX= 740
##NPOINTS= 8
##FIRSTY= 1.10
##XYPOINTS= (XY..XY)
400,1.10; 450,1.20; 500,1.00; 560,1.15
620,1.45; 680,1.30; 715,0.40; 740,-1.20
##END=
";

const DENSITIES: &str = "CGATS.17
ORIGINATOR\t\"format example\"
FILE_DESCRIPTOR\t\"step tablet exposure (invented values)\"
KEYWORD\t\"LOG_H\"
NUMBER_OF_FIELDS\t4
BEGIN_DATA_FORMAT
SAMPLE_ID\tSAMPLE_NAME\tLOG_H\tD_VIS
END_DATA_FORMAT
NUMBER_OF_SETS\t2
BEGIN_DATA
1\t\"step 21\"\t-2.40\t0.25
2\t\"step 18\"\t-1.95\t0.37
END_DATA
";

#[test]
fn a_table_in_the_documented_form_needs_no_answer() {
    let filter = read(
        "wavelength_nm,transmittance\n700,0.24\n750,0.9\n",
        Purpose::Filter,
    )
    .unwrap();
    assert_points(&filter, &[(700.0, Some(0.24)), (750.0, Some(0.9))]);
    assert!(
        matches!(filter.notices[..], [Notice::ScaleOfForm { .. }]),
        "{:?}",
        filter.notices
    );
    let film = read("wavelength_nm,sensitivity\n400,100\n700,3\n", Purpose::Film).unwrap();
    assert_points(&film, &[(400.0, Some(100.0)), (700.0, Some(3.0))]);
}

#[test]
fn values_against_the_documented_form_are_asked_about() {
    // 24 and 90 are no fractions; -1.2 is no linear sensitivity.
    for (text, purpose) in [
        (
            "wavelength_nm,transmittance\n700,24\n750,90\n",
            Purpose::Filter,
        ),
        (
            "wavelength_nm,sensitivity\n400,1.1\n740,-1.2\n",
            Purpose::Film,
        ),
    ] {
        let seen = read(text, purpose);
        assert!(
            matches!(seen, Err(ReadError::WhichScale { said: Some(_), .. })),
            "{seen:?}"
        );
    }
}

#[test]
fn scales_give_the_same_curve() {
    // By hand: D 1 is T 0.1; 10 % is T 0.1; 10^0.5 = 3.1623 to 1.
    for (heading, rows) in [
        ("nm;T (%)", "700;10\n750;100"),
        ("nm;absorbance", "700;1,0\n750;0,0"),
        ("nm\tdensity", "700\t1.0\n750\t0.0"),
        ("nm T(fraction)", "700 0.1\n750 1.0"),
    ] {
        let reading = read(&format!("{heading}\n{rows}\n"), Purpose::Filter).unwrap();
        assert_points(&reading, &[(700.0, Some(0.1)), (750.0, Some(1.0))]);
    }
    let film = read("nm,log sensitivity\n400,1\n500,0\n600,-1\n", Purpose::Film).unwrap();
    assert_points(
        &film,
        &[(400.0, Some(10.0)), (500.0, Some(1.0)), (600.0, Some(0.1))],
    );
}

#[test]
fn units_of_wavelength_give_the_same_curve() {
    // By hand: 700 nm = 0.7 µm = 7000 Å = 10⁷/700 = 14285.714285714286 per cm.
    let rows = [
        ("wavelength (µm)", "0.7", "0.8"),
        ("wavelength (Å)", "7000", "8000"),
        ("wavenumber (1/cm)", "14285.714285714286", "12500"),
    ];
    for (heading, first, second) in rows {
        let text = format!("{heading};T (%)\n{first};10\n{second};90\n");
        let reading = read(&text, Purpose::Filter).unwrap();
        assert_points(&reading, &[(700.0, Some(0.1)), (800.0, Some(0.9))]);
    }
}

#[test]
fn what_a_file_does_not_say_is_asked_with_its_choices() {
    let bare = "4900 0.000\n5000 0.011\n5100 0.128\n";
    let seen = read(bare, Purpose::Film);
    assert_eq!(
        seen,
        Err(ReadError::WhichUnit {
            first: 4900.0,
            last: 5100.0
        })
    );
    assert!(
        seen.unwrap_err()
            .to_string()
            .contains("nm, um, angstrom, per-cm")
    );
    let unit = |answers: &mut Answers| answers.wavelength_unit = Some(WavelengthUnit::Angstroms);
    let seen = answering(bare, Purpose::Film, unit);
    assert!(
        matches!(seen, Err(ReadError::WhichScale { said: None, .. })),
        "{seen:?}"
    );
    assert!(seen.unwrap_err().to_string().contains("linear, log10"));
    let reading = answering(bare, Purpose::Film, |answers| {
        unit(answers);
        answers.value_scale = Some(ValueScale::Linear);
    });
    assert_points(
        &reading.unwrap(),
        &[
            (490.0, Some(0.0)),
            (500.0, Some(0.011)),
            (510.0, Some(0.128)),
        ],
    );

    let columns = "wavelength_nm,No_1,No_2\n700,0.1,0.2\n750,0.3,0.4\n";
    let seen = read(columns, Purpose::Filter);
    let wanted = vec![(2, "No_1".to_owned()), (3, "No_2".to_owned())];
    assert_eq!(
        seen,
        Err(ReadError::WhichColumn {
            columns: wanted.clone()
        })
    );
    for answer in ["No_2", "no_2", "3"] {
        let reading = answering(columns, Purpose::Filter, |a| {
            a.column = Some(answer.to_owned())
        })
        .unwrap();
        assert_points(&reading, &[(700.0, Some(0.2)), (750.0, Some(0.4))]);
        assert_eq!(reading.taken, "No_2");
    }
    for answer in ["No_3", "1", "4", "0"] {
        let seen = answering(columns, Purpose::Filter, |a| {
            a.column = Some(answer.to_owned())
        });
        let error = ReadError::NoSuchColumn {
            asked: answer.to_owned(),
            columns: wanted.clone(),
        };
        assert_eq!(seen, Err(error));
    }
}

#[test]
fn an_answer_against_the_file_is_taken_and_told() {
    let text = "nm;T (%)\n700;0.1\n750;0.9\n";
    let reading = answering(text, Purpose::Filter, |a| {
        a.value_scale = Some(ValueScale::Fraction)
    })
    .unwrap();
    assert_points(&reading, &[(700.0, Some(0.1)), (750.0, Some(0.9))]);
    assert!(matches!(
        reading.notices[..],
        [Notice::AnswerAgainstFile { .. }]
    ));
    let seen = answering(text, Purpose::Filter, |a| {
        a.value_scale = Some(ValueScale::Log10)
    });
    assert!(
        matches!(seen, Err(ReadError::ScaleUnfit { .. })),
        "{seen:?}"
    );
}

#[test]
fn a_column_of_uncertainties_is_left_aside_and_named() {
    let text = "Wavelength (nm);Transmittance(%);Std.Dev.\n700;24;0.1\n750;90;0.1\n";
    let reading = read(text, Purpose::Filter).unwrap();
    assert_points(&reading, &[(700.0, Some(0.24)), (750.0, Some(0.9))]);
    let told = Notice::Uncertainties {
        columns: vec!["Std.Dev.".to_owned()],
    };
    assert_eq!(reading.notices, [told]);
}

#[test]
fn holes_stay_holes() {
    let text = "wavelength_nm,R (fraction)\n400,0.1\n410,-9.999\n420,\n430,0.2\n440,NA\n";
    let reading = read(text, Purpose::Subject).unwrap();
    assert_points(
        &reading,
        &[
            (400.0, Some(0.1)),
            (410.0, None),
            (420.0, None),
            (430.0, Some(0.2)),
            (440.0, None),
        ],
    );
    let told = Notice::Holes {
        count: 3,
        ranges: vec![(410.0, 420.0), (440.0, 440.0)],
    };
    assert_eq!(reading.notices, [told]);
    assert_eq!(reading.runs().len(), 2);
}

#[test]
fn falling_wavelengths_are_turned_round_and_told() {
    let reading = read("nm;T (%)\n750;90\n700;24\n650;0\n", Purpose::Filter).unwrap();
    assert_points(
        &reading,
        &[(650.0, Some(0.0)), (700.0, Some(0.24)), (750.0, Some(0.9))],
    );
    assert_eq!(reading.notices, [Notice::Falling]);
}

#[test]
fn rows_that_turn_back_are_told_or_refused_and_never_sorted() {
    let repeats = "nm,linear\n660,0.5\n670,0.2\n680,0\n660,0.5\n670,0.2\n680,0\n";
    let reading = read(repeats, Purpose::Film).unwrap();
    assert_points(
        &reading,
        &[(660.0, Some(0.5)), (670.0, Some(0.2)), (680.0, Some(0.0))],
    );
    let told = Notice::Repeated {
        count: 3,
        line: 5,
        wavelength_nm: 660.0,
    };
    assert_eq!(reading.notices, [told]);
    let differs = "nm,linear\n660,0.5\n670,0.2\n680,0\n660,0.4\n670,0.2\n680,0\n";
    let seen = read(differs, Purpose::Film);
    assert_eq!(
        seen,
        Err(ReadError::TurnsBack {
            line: 5,
            before: 680.0,
            after: 660.0
        })
    );
}

#[test]
fn noise_below_zero_is_zero_and_more_is_refused() {
    let reading = read("nm,T (fraction)\n650,-0.002\n700,0.5\n", Purpose::Filter).unwrap();
    assert_points(&reading, &[(650.0, Some(0.0)), (700.0, Some(0.5))]);
    assert_eq!(
        reading.notices,
        [Notice::BelowZero {
            count: 1,
            lowest: -0.002
        }]
    );
    let seen = answering("nm,T\n650,-0.3\n700,0.5\n", Purpose::Filter, |answers| {
        answers.value_scale = Some(ValueScale::Fraction);
    });
    let wanted = ReadError::OutOfRange {
        line: 2,
        value: -0.3,
        scale: ValueScale::Fraction,
    };
    assert_eq!(seen, Err(wanted));
}

#[test]
fn commas_of_two_kinds_are_not_guessed_apart() {
    // 400,5 and 0,3? Or 400, 5, 0 and 3?
    let seen = read("400,5,0,3\n410,5,0,4\n", Purpose::Filter);
    assert_eq!(seen, Err(ReadError::CommaTwice { line: 1, cells: 4 }));
}

#[test]
fn damaged_tables_are_refused_by_line() {
    for (text, line) in [
        ("nm;T (%)\n700;24\n750;x\n", 3),
        ("nm;T (%)\n700;24\n-;3\n750;90\n", 3),
        ("nm;T (%)\n700;24\nand so on\n750;90\n", 3),
        ("nm;T (%)\n700;24\n750;90;1\n", 3),
        ("nm;T (%)\n700;24\n0;3\n", 3),
    ] {
        let seen = read(text, Purpose::Filter);
        let at = match &seen {
            Err(
                ReadError::NoNumber { line, .. }
                | ReadError::RowLength { line, .. }
                | ReadError::NoWavelength { line, .. },
            ) => *line,
            _ => panic!("{text:?}: {seen:?}"),
        };
        assert_eq!(at, line, "{text:?}: {seen:?}");
    }
    for text in ["", "words only\n", "\u{feff}\n\n"] {
        assert!(
            matches!(read(text, Purpose::Filter), Err(ReadError::NoTable { .. })),
            "{text:?}"
        );
    }
    assert_eq!(
        read("nm;T (%)\n700;24\n", Purpose::Filter),
        Err(ReadError::TooFewPoints { found: 1 })
    );
}

#[test]
fn a_light_over_wave_numbers_is_refused() {
    let seen = read("1/cm;power\n14000;1\n13000;2\n", Purpose::Light);
    assert_eq!(seen, Err(ReadError::LightOverWaveNumbers));
}

#[test]
fn a_jcamp_filter_is_read() {
    let reading = read(FILTER_JDX, Purpose::Filter).unwrap();
    assert_eq!(reading.points.len(), 12);
    assert_points(
        &SpectralReading {
            points: reading.points[..3].to_vec(),
            ..reading.clone()
        },
        &[
            (680.0, Some(0.001)),
            (690.0, Some(0.015)),
            (700.0, Some(0.09)),
        ],
    );
    assert_eq!(reading.points[11].value, Some(0.98));
    assert_eq!(
        reading.title.as_deref(),
        Some("Example long-pass filter (invented values)")
    );
}

#[test]
fn a_jcamp_film_in_pairs_is_read_by_the_logarithm_in_its_title() {
    let reading = read(FILM_JDX, Purpose::Film).unwrap();
    assert_eq!(reading.points.len(), 8);
    assert_eq!(reading.value_scale, ValueScale::Log10);
    // 10^1.10 = 12.589254117941673 (a table of logarithms).
    assert!((reading.points[0].value.unwrap() - 12.589_254_117_941_673).abs() < 1e-12);
    let silent = FILM_JDX.replace(", log10(cm2/erg)", "");
    let seen = read(&silent, Purpose::Film);
    assert!(
        matches!(seen, Err(ReadError::WhichScale { said: None, .. })),
        "{seen:?}"
    );
}

#[test]
fn a_jcamp_table_is_held_against_its_head() {
    let replaced = |from: &str, to: &str| read(&FILTER_JDX.replace(from, to), Purpose::Filter);
    let wrong = |seen: Result<SpectralReading, ReadError>| match seen {
        Err(ReadError::Jcamp(error)) => error,
        other => panic!("{other:?}"),
    };
    assert_eq!(
        wrong(replaced("##NPOINTS= 12", "##NPOINTS= 13\n##DELTAX=")),
        JcampError::StepDiffers {
            title: "Example long-pass filter (invented values)".to_owned(),
            said: 10.0,
            first: 680.0,
            last: 790.0,
            points: 13
        }
    );
    assert!(matches!(
        wrong(replaced("975 980\n", "975\n")),
        JcampError::PointCount {
            found: 11,
            said: 12,
            ..
        }
    ));
    // A lost point shows at the next line.
    let lost = wrong(replaced("520 700 830 905", "520 830 905"));
    assert_eq!(
        lost,
        JcampError::XCheck {
            line: 18,
            seen: 760.0,
            wanted: 750.0
        }
    );
    for label in ["##FIRSTX=", "##LASTX=", "##NPOINTS=", "##XUNITS="] {
        let renamed = label.replace("##", "##$");
        assert!(
            matches!(wrong(replaced(label, &renamed)), JcampError::Missing { .. }),
            "{label}"
        );
    }
    let arbitrary = wrong(replaced("NANOMETERS", "ARBITRARY"));
    assert!(matches!(
        arbitrary,
        JcampError::OtherAbscissa { line: 6, .. }
    ));
    let peaks = wrong(replaced("##XYDATA= (X++(Y..Y))", "##PEAK TABLE= (XY..XY)"));
    assert!(matches!(peaks, JcampError::PeakTable { line: 15, .. }));
    // A stale first value in the head is told and no more.
    let reading = replaced("##FIRSTY= 0.001", "##FIRSTY= 0.19").unwrap();
    assert!(matches!(
        reading.notices[0],
        Notice::FirstValueDiffers { .. }
    ));
}

#[test]
fn a_damaged_repeat_count_makes_no_million_points() {
    // Found by damaging files: Z9999999 is 89 999 999 times, made before the
    // head's count of 3 was looked at.
    let text = "##TITLE= a\n##XUNITS= nm\n##YUNITS= A\n##FIRSTX= 700\n##LASTX= 690\n##NPOINTS= 3\n##XYDATA= (X++(Y..Y))\n700ABCZ9999999\n##END=\n";
    let seen = read(text, Purpose::Filter);
    let wanted = JcampError::TooManyPoints { line: 8, limit: 3 };
    assert_eq!(seen, Err(ReadError::Jcamp(wanted)));
}

#[test]
fn a_jcamp_file_reads_the_same_with_old_line_ends_and_odd_labels() {
    let wanted = read(FILTER_JDX, Purpose::Filter).unwrap();
    let old = FILTER_JDX
        .replace('\n', "\r")
        .replace("##DATA TYPE=", "##DataType =")
        .replace("##FIRSTX=", "## First_X=")
        .replace("##XYDATA= (X++(Y..Y))", "##XY-DATA=(X++(Y..Y))  $$ remark");
    assert_eq!(read(&old, Purpose::Filter).unwrap().points, wanted.points);
}

#[test]
fn percent_called_transmittance_is_asked_about() {
    let seen = read(
        &FILTER_JDX.replace("##YFACTOR= 0.001", "##YFACTOR= 0.1"),
        Purpose::Filter,
    );
    let said = Some(ValueScale::Fraction);
    assert!(
        matches!(seen, Err(ReadError::WhichScale { said: seen, .. }) if seen == said),
        "{seen:?}"
    );
}

#[test]
fn a_curve_beyond_film_is_told_before_anything_is_asked() {
    // 4000 to 700 per cm is 2500 to 14286 nm.
    let text = FILTER_JDX
        .replace("NANOMETERS", "1/CM")
        .replace("##FIRSTX= 680", "##FIRSTX= 4000")
        .replace("##LASTX= 790", "##LASTX= 700")
        .replace("##DELTAX= 10", "##DELTAX= -300")
        .replace("680 1 ", "4000 1 ")
        .replace("720 520", "2800 520")
        .replace("760 945", "1600 945");
    let seen = read(&text, Purpose::Filter);
    assert!(
        matches!(seen, Err(ReadError::NoOverlapWithFilm { low, high, .. })
            if (low - 2500.0).abs() < 1e-6 && (high - 1.0e7 / 700.0).abs() < 1e-6),
        "{seen:?}"
    );
}

#[test]
fn one_of_several_jcamp_spectra_is_asked_for() {
    let second = FILTER_JDX.replace("Example long-pass", "Other");
    let link =
        format!("##TITLE= two\n##DATA TYPE= LINK\n##BLOCKS= 2\n{FILTER_JDX}{second}##END=\n");
    let seen = read(&link, Purpose::Filter);
    assert!(
        matches!(&seen, Err(ReadError::WhichPart { parts }) if parts.len() == 2),
        "{seen:?}"
    );
    for part in ["2", "Other filter (invented values)"] {
        let reading =
            answering(&link, Purpose::Filter, |a| a.part = Some(part.to_owned())).unwrap();
        assert_eq!(reading.taken, "Other filter (invented values)");
    }
    let seen = answering(&link, Purpose::Filter, |a| a.part = Some("3".to_owned()));
    assert!(
        matches!(seen, Err(ReadError::NoSuchPart { .. })),
        "{seen:?}"
    );
}

#[test]
fn cgats_densities_are_read_below_zero_too() {
    let tables = density_tables(DENSITIES.as_bytes()).unwrap();
    assert_eq!(tables[0].fields, ["D_VIS"]);
    assert_eq!(tables[0].rows[0].sample, "step 21");
    assert_eq!(tables[0].rows[0].log_h, Some(-2.4));
    assert_eq!(tables[0].rows[1].densities, [Some(0.37)]);
    let below = DENSITIES
        .replace("0.25", "-0.012")
        .replace("NUMBER_OF_SETS\t2\n", "");
    assert_eq!(
        density_tables(below.as_bytes()).unwrap()[0].rows[0].densities,
        [Some(-0.012)]
    );
    // Densities are no spectrum.
    let seen = read(DENSITIES, Purpose::Filter);
    assert!(
        matches!(seen, Err(ReadError::Cgats(CgatsError::NoSpectra { .. }))),
        "{seen:?}"
    );
}

#[test]
fn cgats_spectra_are_read_in_each_layout() {
    let wide = |name: &str, values: &str| {
        format!(
            "CGATS.17\nBEGIN_DATA_FORMAT\nSAMPLE_ID {name}700 {name}750\nEND_DATA_FORMAT\nBEGIN_DATA\ng1 {values}\nEND_DATA\n"
        )
    };
    let wanted = [(700.0, Some(0.24)), (750.0, Some(0.9))];
    for (name, values) in [
        ("SPECTRAL_PCT_", "24 90"),
        ("SPECTRAL_PCT", "24 90"),
        ("SPECTRAL_DEC_", "0.24 0.9"),
    ] {
        assert_points(
            &read(&wide(name, values), Purpose::Filter).unwrap(),
            &wanted,
        );
    }
    // The wavelength alone doesn't say the scale.
    let silent = wide("SPECTRAL_NM_", "0.24 0.9");
    assert!(matches!(
        read(&silent, Purpose::Filter),
        Err(ReadError::WhichScale { .. })
    ));
    let pairs = "CGATS.17\nBEGIN_DATA_FORMAT\nSAMPLE_ID SPECTRAL_NM SPECTRAL_DEC SPECTRAL_NM SPECTRAL_DEC\nEND_DATA_FORMAT\nBEGIN_DATA\ng1 700 0.24 750 0.9\ng2 700 0.1 750 0.2\nEND_DATA\n";
    assert!(matches!(
        read(pairs, Purpose::Filter),
        Err(ReadError::WhichPart { parts }) if parts.len() == 2
    ));
    let reading = answering(pairs, Purpose::Filter, |a| a.part = Some("g1".to_owned())).unwrap();
    assert_points(&reading, &wanted);
    let column = "CGATS.17\nBEGIN_DATA_FORMAT\nSPECTRAL_NM SPECTRAL_PCT\nEND_DATA_FORMAT\nBEGIN_DATA\n700 24\n750 90\nEND_DATA\n";
    assert_points(&read(column, Purpose::Filter).unwrap(), &wanted);
}

#[test]
fn rows_without_a_format_block_are_refused_as_no_cgats() {
    let text = "Ink ramp\nBEGIN_DATA\n0.062\t0.047\t-0.012\n0.149\t0.074\t-0.005\nEND_DATA\n";
    let seen = read(text, Purpose::Filter);
    assert_eq!(
        seen,
        Err(ReadError::Cgats(CgatsError::NoFormat { line: 2 }))
    );
    assert_eq!(
        density_tables(text.as_bytes()),
        Err(ReadError::Cgats(CgatsError::NoFormat { line: 2 }))
    );
}

proptest! {
    /// A table written out and read again gives its values, whatever the separator and mark.
    #[test]
    fn a_written_table_reads_back(
        values in proptest::collection::vec(0.0_f64..1.0, 2..40),
        layout in 0_usize..4,
    ) {
        let (separator, comma) = [(";", true), (",", false), ("\t", true), ("  ", false)][layout];
        let mut text = format!("wavelength_nm{separator}T\n");
        for (index, value) in values.iter().enumerate() {
            let row = format!("{}{separator}{value}\n", 400 + index);
            text += &if comma { row.replace('.', ",") } else { row };
        }
        let reading = read(&text, Purpose::Filter).unwrap();
        let seen: Vec<f64> = reading.points.iter().filter_map(|point| point.value).collect();
        prop_assert_eq!(seen, values);
    }

    /// Differences packed by one rule and unpacked by another give the values back.
    #[test]
    fn packed_differences_read_back(values in proptest::collection::vec(-999_i32..999, 2..60)) {
        let packed = |number: i32, zero: char, plus: char, minus: char| {
            let digits = number.abs().to_string();
            let first = u32::from(digits.as_bytes()[0] - b'0');
            let letter = match (first, number < 0) {
                (0, _) => zero,
                (digit, false) => char::from_u32(u32::from(plus) + digit - 1).unwrap(),
                (digit, true) => char::from_u32(u32::from(minus) + digit - 1).unwrap(),
            };
            format!("{letter}{}", &digits[1..])
        };
        let mut table = String::new();
        // Lines of six: the first value whole, then differences; the next line repeats the last.
        for (start, _) in values.iter().enumerate().step_by(5) {
            let end = (start + 5).min(values.len() - 1);
            table += &format!("{}{}", 400 + start, packed(values[start], '@', 'A', 'a'));
            for at in start + 1..=end {
                table += &packed(values[at] - values[at - 1], '%', 'J', 'j');
            }
            table.push('\n');
        }
        let text = format!(
            "##TITLE= t\n##XUNITS= nm\n##YUNITS= A\n##FIRSTX= 400\n##LASTX= {}\n##NPOINTS= {}\n##XYDATA= (X++(Y..Y))\n{table}##END=\n",
            400 + values.len() - 1,
            values.len(),
        );
        let spectra = spectra::read::jcamp::jcamp_spectra(text.as_bytes()).unwrap();
        let seen: Vec<f64> = spectra[0].points.iter().filter_map(|(_, y)| *y).collect();
        prop_assert_eq!(seen, values.iter().map(|v| f64::from(*v)).collect::<Vec<f64>>());
    }

    /// Whatever the bytes, the answer is a curve or a reason.
    #[test]
    fn bytes_of_any_kind_end_in_an_answer(bytes in proptest::collection::vec(any::<u8>(), 0..400)) {
        for purpose in [Purpose::Filter, Purpose::Film] {
            let _ = spectral_reading(&bytes, purpose, &Answers::default());
        }
    }
}
