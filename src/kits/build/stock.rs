//! Which pieces serve which need, when one part may stand in for another.
//!
//! In plain words: give every part its own pieces first. Where some are lacking, take a piece that may stand in;
//! where that one is in use, see whether its user can do with another. What is still lacking then cannot be
//! helped by any other way of sharing out. (These are augmenting paths in a bipartite network; that the
//! sharing is the largest follows from the theorem of Ford and Fulkerson, and the parts that a failed search
//! reaches are a set that together wants more than all pieces that may serve it: Hall's condition.)

/// The pieces there are, by part, and which parts they may serve. Parts are positions.
#[derive(Debug, Clone)]
pub(super) struct Stock {
    /// How many pieces of each part there are.
    pub pieces: Vec<u64>,
    /// Part → the parts whose pieces may serve it: itself first, then those that may stand in.
    pub served_by: Vec<Vec<usize>>,
}

/// Who is served by what.
#[derive(Debug, Clone)]
pub(super) struct Sharing {
    /// Part → beside each of those in `served_by`, how many pieces of it are taken.
    pub taken: Vec<Vec<u64>>,
    /// Part → how many are lacking.
    pub lacking: Vec<u64>,
    /// Part → pieces of it that nobody takes.
    spare: Vec<u64>,
}

/// Parts that together want more than there is for them.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct TooFew {
    pub parts: Vec<usize>,
    /// The pieces that may serve any of them.
    pub pieces: u64,
}

impl Stock {
    /// Shares the pieces out so that as few as possible are lacking.
    pub fn share_out(&self, wanted: &[u64]) -> Sharing {
        let sharing = Sharing {
            taken: self.served_by.iter().map(|by| vec![0; by.len()]).collect(),
            lacking: wanted.to_vec(),
            spare: self.pieces.clone(),
        };
        self.continue_with(sharing)
    }

    /// The sharing of another stock carried on with what this one has more, in pieces and in parts that
    /// may stand in (which come after those the other had).
    pub fn carry_on(&self, other: &Self, mut sharing: Sharing) -> Sharing {
        for (part, pieces) in self.pieces.iter().enumerate() {
            sharing.spare[part] += pieces - other.pieces[part];
            sharing.taken[part].resize(self.served_by[part].len(), 0);
        }
        self.continue_with(sharing)
    }

    fn continue_with(&self, mut sharing: Sharing) -> Sharing {
        for (part, by) in self.served_by.iter().enumerate() {
            if by.first() == Some(&part) {
                let own = sharing.lacking[part].min(sharing.spare[part]);
                sharing.take(part, 0, own);
            }
        }
        for part in 0..self.served_by.len() {
            while sharing.lacking[part] > 0 && self.find_one_more(&mut sharing, part).is_ok() {}
        }
        sharing
    }

    /// The parts of which pieces are lacking, with those that compete with them; none if nothing is lacking.
    pub fn too_few(&self, wanted: &[u64]) -> Option<TooFew> {
        let mut sharing = self.share_out(wanted);
        let part = sharing.lacking.iter().position(|lacking| *lacking > 0)?;
        let parts = self.find_one_more(&mut sharing, part).err()?;
        let mut serving: Vec<usize> = parts
            .iter()
            .flat_map(|part| &self.served_by[*part])
            .copied()
            .collect();
        serving.sort_unstable();
        serving.dedup();
        let pieces = serving.iter().map(|part| self.pieces[*part]).sum();
        Some(TooFew { parts, pieces })
    }

    /// Serves a part with more pieces, over as few exchanges as possible. If there is no way, answers
    /// with all parts that were asked for an exchange.
    fn find_one_more(&self, sharing: &mut Sharing, part: usize) -> Result<(), Vec<usize>> {
        // Part → who asked it to give up one of its pieces, and which one: that asker's own
        // position and the asked part's position in `served_by`.
        let mut asked_by: Vec<Option<(usize, usize, usize)>> = vec![None; self.served_by.len()];
        let mut queue = vec![part];
        let mut next = 0;
        while let Some(&asking) = queue.get(next) {
            next += 1;
            for (at, serving) in self.served_by[asking].iter().enumerate() {
                if sharing.spare[*serving] > 0 {
                    self.exchange(sharing, part, asking, at, &asked_by);
                    return Ok(());
                }
                for (holding, asked) in asked_by.iter_mut().enumerate() {
                    if holding == part || asked.is_some() {
                        continue;
                    }
                    let position = self.served_by[holding].iter().position(|by| by == serving);
                    if let Some(position) = position
                        && sharing.taken[holding][position] > 0
                    {
                        *asked = Some((asking, at, position));
                        queue.push(holding);
                    }
                }
            }
        }
        queue.sort_unstable();
        Err(queue)
    }

    /// Carries out the exchanges that end with `last` taking a spare piece.
    fn exchange(
        &self,
        sharing: &mut Sharing,
        part: usize,
        last: usize,
        at: usize,
        asked_by: &[Option<(usize, usize, usize)>],
    ) {
        let serving = self.served_by[last][at];
        let mut pieces = sharing.lacking[part].min(sharing.spare[serving]);
        let mut here = last;
        while let Some((asking, _, position)) = asked_by[here] {
            pieces = pieces.min(sharing.taken[here][position]);
            here = asking;
        }
        sharing.spare[serving] -= pieces;
        sharing.taken[last][at] += pieces;
        let mut here = last;
        while let Some((asking, at, position)) = asked_by[here] {
            sharing.taken[here][position] -= pieces;
            sharing.taken[asking][at] += pieces;
            here = asking;
        }
        sharing.lacking[part] -= pieces;
    }

    /// For each part the first of all parts that are connected with it by standing in.
    pub fn groups(&self) -> Vec<usize> {
        let mut group: Vec<usize> = (0..self.served_by.len()).collect();
        for (part, by) in self.served_by.iter().enumerate() {
            for other in by {
                let (one, two) = (group[part], group[*other]);
                if one != two {
                    let (kept, gone) = (one.min(two), one.max(two));
                    group
                        .iter_mut()
                        .filter(|of| **of == gone)
                        .for_each(|of| *of = kept);
                }
            }
        }
        group
    }
}

impl Sharing {
    fn take(&mut self, part: usize, at: usize, pieces: u64) {
        self.taken[part][at] += pieces;
        self.lacking[part] -= pieces;
        self.spare[part] -= pieces;
    }
}
