//! Whole small files in each format, with every number they hold. The files are
//! invented, written by hand in the layouts of JCAMP-DX 4.24 and CGATS.17.

#![expect(
    clippy::unwrap_used,
    reason = "a test stops where something is not as it should be"
)]

use spectra::read::cgats::density_tables;
use spectra::read::{Answers, Purpose, ValueScale, spectral_reading};

const FILTER: &str = "\
##TITLE= Example long-pass filter, internal transmittance (invented values)
##JCAMP-DX= 4.24 $$ written by hand as a format example
##DATA TYPE= UV/VIS SPECTRUM
##ORIGIN= format example
##OWNER= public domain
##XUNITS= NANOMETERS
##YUNITS= TRANSMITTANCE
##RESOLUTION= 10
##FIRSTX= 680
##LASTX= 790
##DELTAX= 10
##MAXX= 790
##MINX= 680
##MAXY= 0.980
##MINY= 0.001
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

const PAIRS: &str = "\
##TITLE= Example film spectral sensitivity, log10(cm2/erg) (invented values)
##JCAMP-DX= 4.24
##DATA TYPE= UV/VIS SPECTRUM
##ORIGIN= format example
##OWNER= public domain
##XUNITS= NANOMETERS
##YUNITS= ARBITRARY UNITS
##FIRSTX= 400
##LASTX= 740
##FIRSTY= 1.10
##MAXX= 740
##MINX= 400
##MAXY= 1.45
##MINY= -1.20
##XFACTOR= 1
##YFACTOR= 1
##NPOINTS= 8
##XYPOINTS= (XY..XY)
400,1.10; 450,1.20; 500,1.00; 560,1.15
620,1.45; 680,1.30; 715,0.40; 740,-1.20
##END=
";

const DENSITIES: &str = "\
CGATS.17
ORIGINATOR\t\"format example\"
FILE_DESCRIPTOR\t\"step tablet exposure, visual diffuse density (invented values)\"
CREATED\t\"2026-01-15\"
INSTRUMENTATION\t\"transmission densitometer, 3 mm aperture\"
MEASUREMENT_SOURCE\t\"diffuse geometry, visual\"
KEYWORD\t\"LOG_EXPOSURE_UNIT\"
LOG_EXPOSURE_UNIT\t\"log10 lux second\"
# user-defined data format names are declared by a KEYWORD line as well
KEYWORD\t\"LOG_H\"
NUMBER_OF_FIELDS\t4
BEGIN_DATA_FORMAT
SAMPLE_ID\tSAMPLE_NAME\tLOG_H\tD_VIS
END_DATA_FORMAT
NUMBER_OF_SETS\t6
BEGIN_DATA
1\t\"step 21\"\t-2.40\t0.25
2\t\"step 18\"\t-1.95\t0.37
3\t\"step 15\"\t-1.50\t0.63
4\t\"step 12\"\t-1.05\t0.93
5\t\"step 9\"\t-0.60\t1.24
6\t\"step 6\"\t-0.15\t1.55
END_DATA
";

fn read(text: &str, purpose: Purpose) -> (ValueScale, Vec<(f64, f64)>) {
    let reading = spectral_reading(text.as_bytes(), purpose, &Answers::default()).unwrap();
    let points = reading
        .points
        .iter()
        .map(|p| (p.wavelength.to_nm(), p.value.unwrap()));
    (reading.value_scale, points.collect())
}

#[test]
fn the_filter_has_its_twelve_values() {
    let (scale, points) = read(FILTER, Purpose::Filter);
    assert_eq!(scale, ValueScale::Fraction);
    // The numbers of the file by its factor of 0.001.
    let thousandths = [1, 15, 90, 280, 520, 700, 830, 905, 945, 965, 975, 980];
    assert_eq!(points.len(), thousandths.len());
    for (i, ((nm, value), expected)) in points.into_iter().zip(thousandths).enumerate() {
        assert!((nm - 680.0 - 10.0 * i as f64).abs() < 1e-9, "{nm}");
        assert!(
            (value - f64::from(expected) / 1000.0).abs() < 1e-12,
            "{nm}: {value}"
        );
    }
}

#[test]
fn the_film_in_pairs_has_its_eight_values() {
    let (scale, points) = read(PAIRS, Purpose::Film);
    assert_eq!(scale, ValueScale::Log10);
    let pairs = [
        (400.0, 1.10),
        (450.0, 1.20),
        (500.0, 1.00),
        (560.0, 1.15),
        (620.0, 1.45),
        (680.0, 1.30),
        (715.0, 0.40),
        (740.0, -1.20),
    ];
    assert_eq!(points.len(), pairs.len());
    for ((nm, value), (at, log)) in points.into_iter().zip(pairs) {
        assert!((nm - at).abs() < 1e-9, "{nm}");
        assert!((value.log10() - log).abs() < 1e-12, "{nm}: {value}");
    }
}

#[test]
fn the_tablet_has_its_six_densities() {
    let tables = density_tables(DENSITIES.as_bytes()).unwrap();
    assert_eq!(tables.len(), 1);
    assert_eq!(tables[0].fields, ["D_VIS"]);
    let expected = [
        ("step 21", -2.40, 0.25),
        ("step 18", -1.95, 0.37),
        ("step 15", -1.50, 0.63),
        ("step 12", -1.05, 0.93),
        ("step 9", -0.60, 1.24),
        ("step 6", -0.15, 1.55),
    ];
    assert_eq!(tables[0].rows.len(), expected.len());
    for (row, (sample, log_h, density)) in tables[0].rows.iter().zip(expected) {
        assert_eq!(row.sample, sample);
        assert_eq!(row.log_h, Some(log_h));
        assert_eq!(row.densities, [Some(density)]);
    }
}
