//! Where the letters of outlines stand on a picture.
//!
//! A letter stands beside its outline, inside the picture, and covers neither a
//! patch nor another letter as long as there is a place that does not.

/// A rectangle by its edges, in pixels of the picture.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Edges {
    pub(crate) left: f64,
    pub(crate) top: f64,
    pub(crate) right: f64,
    pub(crate) bottom: f64,
}

impl Edges {
    /// Gives the rectangle around some corners; `None` without any.
    pub(crate) fn around(corners: &[(f64, f64)]) -> Option<Self> {
        let first = corners.first()?;
        let point = Self {
            left: first.0,
            top: first.1,
            right: first.0,
            bottom: first.1,
        };
        Some(corners.iter().fold(point, |edges, (x, y)| Self {
            left: edges.left.min(*x),
            top: edges.top.min(*y),
            right: edges.right.max(*x),
            bottom: edges.bottom.max(*y),
        }))
    }

    fn shared_area(self, other: Self) -> f64 {
        let across = self.right.min(other.right) - self.left.max(other.left);
        let down = self.bottom.min(other.bottom) - self.top.max(other.top);
        across.max(0.0) * down.max(0.0)
    }
}

/// A letter to be placed.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Letter {
    pub(crate) text: String,
    /// Size of the type, in pixels of the picture.
    pub(crate) size: f64,
    /// The outline it belongs to.
    pub(crate) beside: Edges,
    /// Whether it is one of a row of numbers, which stand on one side of the
    /// row and are left out where they would cover something.
    pub(crate) in_row: bool,
}

/// Where the middle of a letter stands from its outline.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Side {
    Right,
    Left,
    Above,
    Below,
}

impl Side {
    const ALL: [Self; 4] = [Self::Right, Self::Left, Self::Above, Self::Below];
    /// Rows of steps mostly run across.
    const OF_A_ROW: [Self; 4] = [Self::Below, Self::Above, Self::Right, Self::Left];
}

impl Letter {
    /// Width and height of the text with its rim; 0.62 em is a wide capital.
    fn extent(&self) -> (f64, f64) {
        let wide = 0.62 * self.size * self.text.chars().count() as f64;
        (wide + 0.2 * self.size, 0.9 * self.size)
    }

    /// Gives the block of the text on one side of its outline: in the middle
    /// of the side, or shifted along it to either end or past it.
    fn blocks(&self, side: Side) -> [Edges; 5] {
        let (wide, high) = self.extent();
        let gap = 0.12 * self.size;
        let b = self.beside;
        let (middle, centre) = ((b.left + b.right) / 2.0, (b.top + b.bottom) / 2.0);
        let (right, left) = (b.right + gap + wide / 2.0, b.left - gap - wide / 2.0);
        let (above, below) = (b.top - gap - high / 2.0, b.bottom + gap + high / 2.0);
        let along_x = [
            middle,
            b.right - wide / 2.0,
            b.left + wide / 2.0,
            right,
            left,
        ];
        let along_y = [
            centre,
            b.top + high / 2.0,
            b.bottom - high / 2.0,
            above,
            below,
        ];
        let places = match side {
            Side::Right => along_y.map(|y| (right, y)),
            Side::Left => along_y.map(|y| (left, y)),
            Side::Above => along_x.map(|x| (x, above)),
            Side::Below => along_x.map(|x| (x, below)),
        };
        places.map(|(x, y)| Edges {
            left: x - wide / 2.0,
            top: y - high / 2.0,
            right: x + wide / 2.0,
            bottom: y + high / 2.0,
        })
    }
}

/// A picture with what is taken on it.
struct Ground<'a> {
    outlines: &'a [Edges],
    size: (f64, f64),
    letters: Vec<Edges>,
}

impl Ground<'_> {
    /// Moves a block inward, even for an outline at the very edge.
    fn inward(&self, block: Edges) -> Edges {
        let by_x = (self.size.0 - block.right).min(0.0).max(-block.left);
        let by_y = (self.size.1 - block.bottom).min(0.0).max(-block.top);
        Edges {
            left: block.left + by_x,
            top: block.top + by_y,
            right: block.right + by_x,
            bottom: block.bottom + by_y,
        }
    }

    /// Gives how much a block would cover.
    fn covered(&self, block: Edges) -> f64 {
        let over = |taken: &[Edges]| taken.iter().map(|t| block.shared_area(*t)).sum::<f64>();
        // A letter over a letter reads as neither; over a rim it still reads.
        4.0 * over(&self.letters) + over(self.outlines)
    }

    /// Gives how doubtful it is which outline a block belongs to: what it
    /// covers of the others' surroundings.
    fn doubt(&self, block: Edges, own: Edges, size: f64) -> f64 {
        let others = self.outlines.iter().filter(|o| **o != own);
        let by = 0.4 * size;
        others
            .map(|o| {
                block.shared_area(Edges {
                    left: o.left - by,
                    top: o.top - by,
                    right: o.right + by,
                    bottom: o.bottom + by,
                })
            })
            .sum()
    }

    /// Finds the best block for a letter that must stand.
    fn best(&self, letter: &Letter) -> Option<Edges> {
        // Middles of the sides first, as they belong to their outline most clearly.
        let order = (0..5).flat_map(|shift| Side::ALL.map(|side| (side, shift)));
        let cost = |block: Edges| {
            10.0 * self.covered(block) + self.doubt(block, letter.beside, letter.size)
        };
        order
            .map(|(side, shift)| self.inward(letter.blocks(side)[shift]))
            .map(|block| (cost(block), block))
            .min_by(|a, b| a.0.total_cmp(&b.0))
            .map(|(_, block)| block)
    }

    /// Gives the blocks of a row of numbers on one side, those left out that
    /// would cover something or each other.
    fn row(&self, numbers: &[&Letter], side: Side) -> Vec<Option<Edges>> {
        let mut placed: Vec<Edges> = Vec::new();
        numbers
            .iter()
            .map(|number| {
                let block = self.inward(number.blocks(side)[0]);
                let free = self.covered(block) <= 0.0
                    && placed.iter().all(|p| block.shared_area(*p) <= 0.0);
                free.then(|| {
                    placed.push(block);
                    block
                })
            })
            .collect()
    }
}

/// Gives the middle of each letter, in their order; `None` where one is left out.
pub(crate) fn place_letters(
    letters: &[Letter],
    outlines: &[Edges],
    size: (f64, f64),
) -> Vec<Option<(f64, f64)>> {
    let mut ground = Ground {
        outlines,
        size,
        letters: Vec::new(),
    };
    let mut out: Vec<Option<Edges>> = Vec::new();
    for letter in letters {
        let block = (!letter.in_row).then(|| ground.best(letter)).flatten();
        ground.letters.extend(block);
        out.push(block);
    }
    let numbers: Vec<&Letter> = letters.iter().filter(|l| l.in_row).collect();
    let rows = Side::OF_A_ROW.map(|side| ground.row(&numbers, side));
    let count = |row: &Vec<Option<Edges>>| row.iter().flatten().count();
    // The first of the fullest rows.
    let most = rows.iter().map(count).max().unwrap_or(0);
    let row = rows.into_iter().find(|row| count(row) == most);
    let slots = out.iter_mut().zip(letters).filter(|(_, l)| l.in_row);
    for ((slot, _), block) in slots.zip(row.unwrap_or_default()) {
        *slot = block;
    }
    out.into_iter()
        .map(|block| block.map(|b| ((b.left + b.right) / 2.0, (b.top + b.bottom) / 2.0)))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn edges(left: f64, top: f64, right: f64, bottom: f64) -> Edges {
        Edges {
            left,
            top,
            right,
            bottom,
        }
    }

    fn letter(text: &str, beside: Edges) -> Letter {
        Letter {
            text: text.to_owned(),
            size: 20.0,
            beside,
            in_row: false,
        }
    }

    #[test]
    fn a_letter_stands_inside_the_picture_and_off_its_patch() {
        // Patches in the middle, at each edge and in a corner of 400 x 300.
        for patch in [
            edges(180.0, 140.0, 220.0, 170.0),
            edges(370.0, 140.0, 399.0, 170.0),
            edges(1.0, 140.0, 30.0, 170.0),
            edges(180.0, 1.0, 220.0, 20.0),
            edges(180.0, 280.0, 220.0, 299.0),
            edges(360.0, 270.0, 400.0, 300.0),
        ] {
            let b = letter("b+f", patch);
            let (wide, high) = b.extent();
            let (x, y) = place_letters(&[b], &[patch], (400.0, 300.0))[0].unwrap();
            let block = edges(
                x - wide / 2.0,
                y - high / 2.0,
                x + wide / 2.0,
                y + high / 2.0,
            );
            assert!(
                block.left >= 0.0 && block.right <= 400.0,
                "{patch:?}: {block:?}"
            );
            assert!(
                block.top >= 0.0 && block.bottom <= 300.0,
                "{patch:?}: {block:?}"
            );
            assert!(block.shared_area(patch) <= 0.0, "{patch:?}: {block:?}");
        }
    }

    #[test]
    fn neighbours_step_aside_for_each_other() {
        let patches = [
            edges(100.0, 100.0, 120.0, 130.0),
            edges(122.0, 100.0, 142.0, 130.0),
            edges(144.0, 100.0, 164.0, 130.0),
        ];
        let letters: Vec<_> = ["H", "F", "G"]
            .into_iter()
            .zip(patches)
            .map(|(text, patch)| letter(text, patch))
            .collect();
        let (wide, high) = letters[0].extent();
        let blocks: Vec<_> = place_letters(&letters, &patches, (400.0, 300.0))
            .into_iter()
            .map(|place| {
                let (x, y) = place.unwrap();
                edges(
                    x - wide / 2.0,
                    y - high / 2.0,
                    x + wide / 2.0,
                    y + high / 2.0,
                )
            })
            .collect();
        for (place, block) in blocks.iter().enumerate() {
            let others = blocks[..place].iter().chain(&patches);
            assert!(
                others.map(|o| o.shared_area(*block)).sum::<f64>() <= 0.0,
                "{block:?}"
            );
        }
    }

    #[test]
    fn a_number_without_room_is_left_out_and_a_letter_never() {
        // The outline fills the picture, so that any text must cover it.
        let full = edges(0.0, 0.0, 30.0, 30.0);
        let kept = letter("A", full);
        let number = Letter {
            in_row: true,
            ..letter("11", full)
        };
        let places = place_letters(&[kept, number], &[full], (30.0, 30.0));
        assert!(places[0].is_some());
        assert_eq!(places[1], None);
    }
}
