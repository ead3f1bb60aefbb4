//! The film's own frame in a scan: the edges of the picture and the rebate around it.
//!
//! Works on the reduced picture of a [`crate::survey`], so that the file is not
//! decoded again. Nothing in a negative is lighter than clear film. So, of the
//! even levels in a scan, the rebate is the lightest from which straight sides
//! fall, at right angles, towards a picture that is nowhere lighter; what is open
//! light shows as an even ring of film inside such sides.
//!
//! Begin with [`find_frame`]; `side` finds the line of one side, `levels` the even
//! levels, `judge` holds what was found against what must be true of a frame.
//!
//! What cannot be told is said: where nothing lighter than the rebate is in the
//! scan, a gap of open light around film that was cut to its picture would look
//! the same ([`FrameEdges::light_seen`]). Nothing here sets base + fog.

mod find;
mod found;
mod judge;
mod levels;
mod side;
mod view;

pub use find::find_frame;
pub use found::{Edge, FrameEdges, FrameNotFound, Rebate, SideName};
