//! How two frames of one subject lie on each other.
//!
//! Behind a deep-red filter foliage goes from thin to dense and a clear sky the
//! other way, so the densities of two frames follow each other neither in sign
//! nor in order, and a correlation of densities finds a wrong place or none.
//! What stays is where edges are and which way they run. So each picture is
//! turned into its field of doubled edge directions ([`field`](self)), which is
//! the same for an edge and for its negative; the fields are compared.
//!
//! The way: pictures are halved again and again; the smallest pair is searched
//! through by Fourier transform over shift, and where that is not plain, over
//! rotation and scale; then on each finer pair every block says how far it is
//! off, and a robust fit through the blocks moves the whole. What the blocks say
//! beside each other gives the quality and the uncertainty, and a result that
//! is not far better than chance is refused.
//!
//! Coordinates are in pixels from the upper left corner of a picture; the first
//! pixel reaches from 0 to 1.
//!
//! Begin with [`register`]; what it gives is a [`Registration`]. A beginning is followed
//! through all sizes in `follow`, settled on each in `level`. Not here: what
//! is carried from frame to frame, and what a reading loses by it.
//!
//! Sources: the doubled angle for directions without sign is common in the
//! statistics of axes (Mardia and Jupp, "Directional Statistics", 2000, 1.1);
//! the robust weights are those of Beaton and Tukey, Technometrics 16 (1974) 147.

mod blocks;
mod carry;
mod chance;
mod error;
mod field;
mod fit;
mod follow;
mod found;
mod halving;
mod lanes;
mod level;
mod placement;
mod register;
mod search;
mod significance;
mod stride;
mod sums;
mod symmetric;
mod warp;

pub use carry::{CarriedOutline, carry_outline, misplacement, outline_by};
pub use error::RegistrationError;
pub use found::Registration;
pub use halving::GreyPicture;
pub use placement::Placement;
pub use register::{Motion, register, register_upright};
