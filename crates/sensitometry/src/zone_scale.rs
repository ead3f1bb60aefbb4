//! Net density range of a negative to a paper grade.
//!
//! One table, for a diffusion enlarger; a condenser needs another, because it
//! prints the same negative harder. Begin with [`paper_grade_for_diffuser`].
//!
//! Source: "Exposure development lab", a course sheet; common practice.

use quantity::NetDensity;

/// A grade of paper by the net density range it prints.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum PaperGrade {
    /// 1.41 to 1.60.
    Grade0,
    /// 1.15 to 1.40.
    Grade1,
    /// 0.95 to 1.14.
    Grade2,
    /// 0.80 to 0.94.
    Grade3,
    /// 0.65 to 0.79.
    Grade4,
    /// 0.50 to 0.64.
    Grade5,
}

/// What the table says of a negative.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PaperGradeAdvice {
    /// This grade, on a diffusion enlarger; a condenser needs another table.
    DiffuserGrade(PaperGrade),
    /// More than 1.60: too hard for the table.
    TooHard,
    /// Less than 0.50: too soft for the table.
    TooSoft,
}

/// Gives the paper grade for a net density range on a diffusion enlarger.
///
/// The table is printed to 0.01, so the range is rounded to 0.01 first. Do not
/// use it for a condenser: that prints the same range harder.
#[must_use]
pub fn paper_grade_for_diffuser(range: NetDensity) -> PaperGradeAdvice {
    // Lower limit of each grade, in hundredths.
    const ROWS: [(f64, PaperGrade); 6] = [
        (141.0, PaperGrade::Grade0),
        (115.0, PaperGrade::Grade1),
        (95.0, PaperGrade::Grade2),
        (80.0, PaperGrade::Grade3),
        (65.0, PaperGrade::Grade4),
        (50.0, PaperGrade::Grade5),
    ];
    let hundredths = (range.to_density() * 100.0).round();
    if hundredths > 160.0 {
        return PaperGradeAdvice::TooHard;
    }
    ROWS.iter()
        .find(|(from, _)| hundredths >= *from)
        .map_or(PaperGradeAdvice::TooSoft, |(_, grade)| {
            PaperGradeAdvice::DiffuserGrade(*grade)
        })
}
