//! Where a label can stand without covering another.

use std::collections::BTreeMap;

/// A rectangle by its edges, in pixels.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Block {
    pub(crate) left: f64,
    pub(crate) top: f64,
    pub(crate) right: f64,
    pub(crate) bottom: f64,
}

impl Block {
    /// Gives the block around a centre.
    pub(crate) fn around(centre: (f64, f64), width: f64, height: f64) -> Self {
        Self {
            left: centre.0 - width / 2.0,
            top: centre.1 - height / 2.0,
            right: centre.0 + width / 2.0,
            bottom: centre.1 + height / 2.0,
        }
    }

    fn meets(self, other: Self) -> bool {
        self.left < other.right
            && other.left < self.right
            && self.top < other.bottom
            && other.top < self.bottom
    }

    fn grown(self, by: f64) -> Self {
        Self {
            left: self.left - by,
            top: self.top - by,
            right: self.right + by,
            bottom: self.bottom + by,
        }
    }

    fn lies_in(self, other: Self) -> bool {
        self.left >= other.left
            && self.right <= other.right
            && self.top >= other.top
            && self.bottom <= other.bottom
    }
}

/// Side of a cell in which taken blocks are looked up, in pixels.
const CELL_PX: f64 = 32.0;

/// What is taken on a drawing, kept by cells so that a crowded curve costs no
/// more for each label than an empty one.
#[derive(Debug)]
pub(crate) struct Places {
    within: Block,
    taken: BTreeMap<(i32, i32), Vec<Block>>,
}

/// The cells that a block touches.
fn cells(block: Block) -> impl Iterator<Item = (i32, i32)> {
    // Drawings are a few thousand pixels wide, so the casts are exact.
    let cell = |v: f64| (v / CELL_PX).floor() as i32;
    let (top, bottom) = (cell(block.top), cell(block.bottom));
    (cell(block.left)..=cell(block.right)).flat_map(move |x| (top..=bottom).map(move |y| (x, y)))
}

impl Places {
    /// Begins with everything inside a frame free.
    pub(crate) fn new(within: Block) -> Self {
        Self {
            within,
            taken: BTreeMap::new(),
        }
    }

    /// Marks a block as taken.
    pub(crate) fn take(&mut self, block: Block) {
        for cell in cells(block) {
            let blocks = self.taken.entry(cell).or_default();
            // What lies within another block takes nothing more.
            if !blocks.iter().any(|other| block.lies_in(other.grown(1.0))) {
                blocks.push(block);
            }
        }
    }

    fn is_free(&self, block: Block) -> bool {
        cells(block).all(|cell| {
            self.taken
                .get(&cell)
                .is_none_or(|blocks| !blocks.iter().any(|other| block.meets(*other)))
        })
    }

    /// Finds a free centre near a point for a label of this size and takes it;
    /// `None` when everything near is taken. Nearest first; above left and
    /// below right first, since curves rise to the right.
    pub(crate) fn find(
        &mut self,
        point: (f64, f64),
        width: f64,
        height: f64,
    ) -> Option<(f64, f64)> {
        // Eight directions as (right, down).
        const DIAGONAL: f64 = core::f64::consts::FRAC_1_SQRT_2;
        const DIRECTIONS: [(f64, f64); 8] = [
            (-DIAGONAL, -DIAGONAL),
            (DIAGONAL, DIAGONAL),
            (0.0, -1.0),
            (0.0, 1.0),
            (-1.0, 0.0),
            (1.0, 0.0),
            (DIAGONAL, -DIAGONAL),
            (-DIAGONAL, DIAGONAL),
        ];
        for distance in [11.0, 16.0, 23.0, 31.0, 40.0] {
            for (right, down) in DIRECTIONS {
                let reach = distance + (width / 2.0 - 4.0).max(0.0) * right.abs();
                let centre = (point.0 + reach * right, point.1 + distance * down);
                let block = Block::around(centre, width, height);
                if block.lies_in(self.within) && self.is_free(block) {
                    self.take(block);
                    return Some(centre);
                }
            }
        }
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn labels_of_one_point_never_cover_each_other() {
        let frame = Block {
            left: 0.0,
            top: 0.0,
            right: 400.0,
            bottom: 400.0,
        };
        let mut places = Places::new(frame);
        let mut blocks: Vec<Block> = Vec::new();
        while let Some(centre) = places.find((200.0, 200.0), 10.0, 12.0) {
            let block = Block::around(centre, 10.0, 12.0);
            assert!(!blocks.iter().any(|b| b.meets(block)), "{block:?}");
            assert!(block.lies_in(frame));
            blocks.push(block);
        }
        // Eight directions, five distances: at least the outer rings fit whole.
        assert!(blocks.len() >= 16, "{}", blocks.len());
    }
}
