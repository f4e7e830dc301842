//! What broke most: reports added up by part, by event and by season. Pure.

use super::telling::What;

/// One accepted report, as far as adding up needs it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Loss<P, E, S> {
    pub part: P,
    pub what: What,
    pub pieces: i64,
    pub event: E,
    pub season: S,
    pub one_off: bool,
}

/// So many of something.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sum<K> {
    pub of: K,
    pub broken: i64,
    pub lost: i64,
    /// Of these, marked as one-offs.
    pub one_off: i64,
}

impl<K> Sum<K> {
    pub fn together(&self) -> i64 {
        self.broken + self.lost
    }
}

/// Adds losses up under a key, most first; of equals the one that came first in the list.
pub fn add_up<P, E, S, K: PartialEq>(
    losses: &[Loss<P, E, S>],
    key: impl Fn(&Loss<P, E, S>) -> K,
) -> Vec<Sum<K>> {
    let mut sums: Vec<Sum<K>> = Vec::new();
    for loss in losses {
        let (broken, lost) = match loss.what {
            What::Broken => (loss.pieces, 0),
            What::Lost => (0, loss.pieces),
            What::Found | What::Astray => continue,
        };
        let one_off = if loss.one_off { loss.pieces } else { 0 };
        let of = key(loss);
        match sums.iter_mut().find(|sum| sum.of == of) {
            Some(sum) => {
                sum.broken += broken;
                sum.lost += lost;
                sum.one_off += one_off;
            }
            None => sums.push(Sum {
                of,
                broken,
                lost,
                one_off,
            }),
        }
    }
    sums.sort_by_key(|sum| -sum.together());
    sums
}

#[cfg(test)]
mod tests {
    use super::*;

    fn loss(
        part: char,
        what: What,
        pieces: i64,
        event: &str,
        one_off: bool,
    ) -> Loss<char, String, ()> {
        Loss {
            part,
            what,
            pieces,
            event: event.into(),
            season: (),
            one_off,
        }
    }

    #[test]
    fn losses_are_added_up_and_found_pieces_are_not() {
        let losses = [
            loss('a', What::Broken, 2, "Pass Day", false),
            loss('b', What::Lost, 4, "Pass Day", true),
            loss('a', What::Lost, 1, "Ridge Day", false),
            loss('a', What::Found, 9, "Ridge Day", false),
            loss('c', What::Broken, 3, "", false),
        ];
        let parts: Vec<_> = add_up(&losses, |loss| loss.part)
            .iter()
            .map(|sum| (sum.of, sum.broken, sum.lost, sum.one_off))
            .collect();
        assert_eq!(parts, [('b', 0, 4, 4), ('a', 2, 1, 0), ('c', 3, 0, 0)]);
        let events: Vec<_> = add_up(&losses, |loss| loss.event.clone())
            .iter()
            .map(|sum| (sum.of.clone(), sum.together()))
            .collect();
        assert_eq!(
            events,
            [
                ("Pass Day".to_owned(), 6),
                (String::new(), 3),
                ("Ridge Day".to_owned(), 1)
            ]
        );
    }
}
