//! Where a step tablet lies in a scan, found without a click.
//!
//! A tablet is a strip whose steps have one pitch and grow denser from one to
//! the next. So lines across a reduced picture are looked through for edges of
//! one sign at one pitch (`stairs`); what a line suggests is laid on the
//! picture as a strip, and pitch, phase and tilt are fitted through all edges
//! together (`strip`); then every step and both ends are held against the
//! tablet's table (`judge`). Nothing is guessed: a step too many or too few, a
//! covered step, an end that can't be seen, falls that are not the table's, or
//! two places are each an error of their own. Dense steps that drown in the dark
//! are placed by the pitch and say so.
//!
//! Limits are choices where nothing else is said beside them. They were set, and rules
//! added where one failed, on made scans (`testkit::tablet_scan`); PROOF.md tells which.
//! No scan of a real tablet has told them.
//!
//! Begin with [`find_tablet`]. Tilts up to 5° from the rows or columns of the
//! scan are searched, in all four directions. A scan whose codes rise with
//! density is not searched.
//!
//! Symbols: u along the strip from its thin end, v across it, pixels of the
//! reduced picture; x log10 of signal; D density; γ the slope of −x over D.

mod judge;
mod light;
mod place;
mod stairs;
mod strip;

pub use place::{PlacedStep, TabletPlace, TabletPlaceError, find_tablet};
