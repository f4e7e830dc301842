//! What is lacking, what that stops, and what would cure it.

use super::field::Field;
use super::shelf::Shelf;
use super::{Asked, Cure, CureKind, Lack, Purpose};

/// The parts lacking for the whole field, in order, with what they stop and what would cure them.
pub(super) fn lacks<P, A, K, S>(
    asked: &Asked<'_, P, A, K, S>,
    field: &Field<P, A>,
    shelf: &Shelf<P, K>,
    copies: &[u64],
) -> Vec<Lack<P, A, S>>
where
    P: Copy + Ord,
    A: Copy + Ord,
    K: Copy,
    S: Copy,
{
    let mut wanted = field.wanted(&field.all());
    for (wanted, loose) in wanted.iter_mut().zip(&field.loose) {
        *wanted += loose;
    }
    let stock = &shelf.stock;
    let sharing = stock.share_out(&wanted);
    let lacking = sharing.lacking.clone();
    let practised = match asked.purpose {
        Purpose::Official => {
            let practice = shelf.for_practice();
            practice.carry_on(stock, sharing).lacking
        }
        Purpose::Practice => lacking.clone(),
    };
    let short = (0..lacking.len()).filter(|part| lacking[*part] > 0);
    short
        .map(|part| {
            let mut lack = Lack {
                part: field.parts[part],
                lacking: lacking[part],
                stops: stopped_by(field, copies, part),
                cures: Vec::new(),
                too_late: 0,
                uncured: lacking[part],
            };
            lack.cure(
                CureKind::PracticeOrStandIn,
                None,
                lacking[part] - practised[part],
            );
            cure_from_sources(asked, &mut lack);
            lack
        })
        .collect()
}

/// The assemblies that do not all stand and use this part themselves.
fn stopped_by<P, A: Copy>(field: &Field<P, A>, copies: &[u64], part: usize) -> Vec<A> {
    let kinds = field.kinds.iter().zip(copies);
    kinds
        .filter(|(kind, copies)| {
            let mut lines = kind.parts.iter().filter(|use_| use_.of == part);
            lines.any(|use_| use_.by(kind.held) > use_.by(**copies))
        })
        .map(|(kind, _)| kind.assembly)
        .collect()
}

fn cure_from_sources<P, A, K, S>(asked: &Asked<'_, P, A, K, S>, lack: &mut Lack<P, A, S>)
where
    P: Copy + Ord,
    S: Copy,
{
    let mut sources: Vec<_> = asked
        .sources
        .iter()
        .filter(|source| source.part == lack.part)
        .collect();
    sources.sort_by_key(|source| (source.kind, source.there_on));
    for source in sources {
        if source.there_on > asked.day {
            lack.too_late = lack.too_late.saturating_add(source.pieces);
        } else {
            lack.cure(source.kind, Some(source.source), source.pieces);
        }
    }
}

impl<P, A, S> Lack<P, A, S> {
    /// Takes from this cure as many pieces as it has and are still lacking.
    fn cure(&mut self, kind: CureKind, source: Option<S>, pieces: u64) {
        let pieces = pieces.min(self.uncured);
        if pieces > 0 {
            self.uncured -= pieces;
            self.cures.push(Cure {
                kind,
                source,
                pieces,
            });
        }
    }
}
