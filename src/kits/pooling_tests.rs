//! Cases for pooling, and its agreement with trying every way on small cases.

use proptest::prelude::*;

use super::*;

fn kits(stock: &[&[u64]]) -> Vec<PooledKit<usize, usize>> {
    let kit = |(kit, own): (usize, &&[u64])| PooledKit {
        kit,
        pieces: own.iter().copied().enumerate().collect(),
    };
    stock.iter().enumerate().map(kit).collect()
}

fn needs(needs: &[u64]) -> Vec<(usize, u64)> {
    needs.iter().copied().enumerate().collect()
}

#[track_caller]
fn pooled(need: &[u64], stock: &[&[u64]]) -> Pooled<usize, usize> {
    let pooled = pool(&needs(need), &kits(stock), STEPS).expect("these kits can be pooled");
    assert_eq!(pooled.proof, Proof::Proven);
    pooled
}

#[test]
fn what_one_has_over_another_lacks() {
    let pooled = pooled(&[2, 1], &[&[3, 1], &[1, 1]]);
    assert_eq!(pooled.complete, [0, 1]);
    assert_eq!(pooled.giving, [0]);
    let only = Move {
        part: 0,
        pieces: 1,
        from: 0,
        to: 1,
    };
    assert_eq!(pooled.moves, [only]);
}

#[test]
fn one_kit_is_opened_for_the_others() {
    // Three kits, each without one piece of another part: the first two are mended from the third.
    let pooled = pooled(&[1, 1, 1], &[&[0, 1, 1], &[1, 0, 1], &[1, 1, 0]]);
    assert_eq!(pooled.complete.len(), 2);
    assert_eq!(pooled.giving.len(), 1);
    assert_eq!(pooled.pieces, 2);
}

#[test]
fn complete_kits_are_left_alone() {
    let pooled = pooled(&[2, 2], &[&[2, 2], &[2, 2], &[2, 1]]);
    assert_eq!((pooled.complete, pooled.giving), (vec![0, 1], vec![]));
    assert!(pooled.moves.is_empty());
}

#[test]
fn never_more_fields_than_kits() {
    let pooled = pooled(&[1], &[&[9], &[0]]);
    assert_eq!(pooled.complete, [0, 1]);
    assert_eq!(pooled.pieces, 1);
}

#[test]
fn nothing_is_complete_where_a_part_is_nowhere() {
    let pooled = pooled(&[1, 1], &[&[1, 0], &[2, 0]]);
    assert!(pooled.complete.is_empty() && pooled.moves.is_empty());
}

#[test]
fn what_makes_no_sense_is_refused() {
    let refused = |need: &[(usize, u64)], kits: &[PooledKit<usize, usize>]| {
        pool(need, kits, STEPS).expect_err("this makes no sense")
    };
    let one = kits(&[&[1]]);
    assert_eq!(refused(&needs(&[1]), &[]), PoolRefused::NoKits);
    assert_eq!(refused(&needs(&[0]), &one), PoolRefused::NoNeed);
    assert_eq!(refused(&[], &one), PoolRefused::NoNeed);
    assert_eq!(refused(&[(0, 1), (0, 2)], &one), PoolRefused::PartTwice(0));
    let twice = [one[0].clone(), one[0].clone()];
    assert_eq!(refused(&needs(&[1]), &twice), PoolRefused::KitTwice(0));
    assert_eq!(refused(&needs(&[u64::MAX]), &one), PoolRefused::TooMany);
    let much = kits(&[&[MOST], &[1]]);
    assert_eq!(refused(&needs(&[1]), &much), PoolRefused::TooMany);
}

#[test]
fn without_steps_the_kits_are_complete_all_the_same() {
    let kits = kits(&[&[0, 1, 1], &[1, 0, 1], &[1, 1, 0]]);
    let pooled = pool(&needs(&[1, 1, 1]), &kits, 0).expect("these kits can be pooled");
    assert_eq!(pooled.complete.len(), 2);
    assert_eq!(pooled.proof, Proof::BestFound { steps: 0 });
    check(&[1, 1, 1], &kits, &pooled);
}

/// That the moves take no piece twice, and make complete what is said to be.
fn check(need: &[u64], kits: &[PooledKit<usize, usize>], pooled: &Pooled<usize, usize>) {
    let mut stock: Vec<Vec<u64>> = kits
        .iter()
        .map(|kit| kit.pieces.iter().map(|(_, pieces)| *pieces).collect())
        .collect();
    let mut giving = BTreeSet::new();
    // All pieces are taken out before any is put in: what was put in is not there to be taken.
    for step in &pooled.moves {
        assert!(step.pieces > 0 && step.from != step.to);
        let left = stock[step.from][step.part].checked_sub(step.pieces);
        stock[step.from][step.part] = left.expect("a piece was taken twice");
        giving.insert(step.from);
    }
    for step in &pooled.moves {
        stock[step.to][step.part] += step.pieces;
    }
    assert_eq!(pooled.giving, giving.into_iter().collect::<Vec<_>>());
    assert_eq!(
        pooled.pieces,
        pooled.moves.iter().map(|step| step.pieces).sum::<u64>()
    );
    for kit in &pooled.complete {
        assert!(stock[*kit].iter().zip(need).all(|(own, need)| own >= need));
    }
}

/// The most complete kits, the fewest giving ones, and the fewest pieces moved, by trying every set
/// of kits to be complete with every set of kits to give.
fn naive(need: &[u64], stock: &[Vec<u64>]) -> (usize, usize, u64) {
    let sets = 1_usize << stock.len();
    let mut best = (0, 0, 0);
    for complete in 0..sets {
        for giving in 0..sets {
            let is_in = |set: usize, kit: usize| set >> kit & 1 == 1;
            let mut moved = 0;
            let enough = (0..need.len()).all(|part| {
                let (mut lacked, mut given) = (0, 0);
                for (kit, own) in stock.iter().enumerate() {
                    if is_in(complete, kit) {
                        lacked += need[part].saturating_sub(own[part]);
                    }
                    if is_in(giving, kit) {
                        let kept = if is_in(complete, kit) { need[part] } else { 0 };
                        given += own[part].saturating_sub(kept);
                    }
                }
                moved += lacked;
                lacked <= given
            });
            let count = |set: usize| set.count_ones() as usize;
            let key = |(complete, giving, moved): (usize, usize, u64)| {
                (std::cmp::Reverse(complete), giving, moved)
            };
            let this = (count(complete), count(giving), moved);
            if enough && key(this) < key(best) {
                best = this;
            }
        }
    }
    best
}

fn any_case() -> impl Strategy<Value = (Vec<u64>, Vec<Vec<u64>>)> {
    (1_usize..=6, 1_usize..=4).prop_flat_map(|(parts, kits)| {
        let need = prop::collection::vec(0_u64..4, parts);
        let stock = prop::collection::vec(prop::collection::vec(0_u64..6, parts), kits);
        (need, stock).prop_filter("some need", |(need, _)| need.iter().any(|need| *need > 0))
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(1500))]

    #[test]
    fn pooling_equals_trying_every_way((need, stock) in any_case()) {
        let rows: Vec<&[u64]> = stock.iter().map(Vec::as_slice).collect();
        let kits = kits(&rows);
        let pooled = pool(&needs(&need), &kits, STEPS).expect("these kits can be pooled");
        check(&need, &kits, &pooled);
        let found = (pooled.complete.len(), pooled.giving.len(), pooled.pieces);
        prop_assert_eq!(found, naive(&need, &stock));
        prop_assert_eq!(pooled.proof, Proof::Proven);
    }

    #[test]
    fn few_steps_never_make_fewer_complete_kits((need, stock) in any_case(), steps in 0_u64..4) {
        let rows: Vec<&[u64]> = stock.iter().map(Vec::as_slice).collect();
        let kits = kits(&rows);
        let pooled = pool(&needs(&need), &kits, steps).expect("these kits can be pooled");
        check(&need, &kits, &pooled);
        prop_assert_eq!(pooled.complete.len(), naive(&need, &stock).0);
    }
}
