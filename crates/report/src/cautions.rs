//! Cautions: eyes, chemicals, lamps. In our words; they defer to data sheets.

use maud::{Markup, html};

pub(crate) fn cautions() -> Markup {
    html! {
        section #cautions {
            h2 { "Cautions" }
            ul {
                li {
                    "Never look at the sun through an infrared filter, developed film, a neutral density filter or a polarizer. "
                    "A dim view proves nothing: many of them pass infrared that burns the retina without pain. "
                    "Only filters made to ISO 12312-2 are for the sun. Do not check the ground glass of a camera that points at it."
                }
                li {
                    "Developers and fixers can sensitise skin, burn eyes and poison. Read the safety data sheet of each chemical, "
                    "wear gloves and eye protection, ventilate, do not breathe powders, keep food out of the room, "
                    "and dispose of waste as local rules ask. Add acid to water, never water to acid."
                }
                li {
                    "Photographic lamps are hot: they burn skin, set cloth alight and melt gelatin filters. "
                    "Keep mains leads away from wet hands and baths."
                }
                li {
                    "Data sheets, local rules and the practice of licensed trades come before anything written here."
                }
            }
        }
    }
}
