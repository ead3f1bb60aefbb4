//! The film's own frame in a scan: the edges of the picture and the rebate around it.
//!
//! Works on the reduced picture of a [`crate::survey`], so that the file is not
//! decoded again. Nothing in a negative is lighter than clear film. So, of the
//! even levels in a scan, the rebate is the lightest from which straight sides
//! fall, at right angles, towards a picture that is nowhere lighter; what is open
//! light shows as an even ring of film inside such sides.
//!
//! Begin with [`find_frame`]; `levels` gives the even levels, `side` the line of one
//! side, `sides` closes four of them and `tilt` says how they are turned; `judge` holds
//! what was found against what must be true of a frame, `frame` measures it, and
//! `clear_stretch` finds where clear film can be outlined.
//!
//! What cannot be told is said: where nothing lighter than the rebate is in the
//! scan, a gap of open light around film that was cut to its picture would look
//! the same ([`FrameEdges::light_seen`]). Nothing here sets base + fog.

mod clear_stretch;
mod find;
mod found;
mod frame;
mod judge;
mod levels;
mod side;
mod sides;
mod tilt;
mod view;

pub use find::find_frame;
pub use found::{Edge, FrameEdges, FrameNotFound, Rebate, SideName};
