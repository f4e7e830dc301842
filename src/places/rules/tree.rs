//! Places in the order of what stands in what. Pure.

use std::collections::{HashMap, HashSet};

use crate::ids::PlaceId;
use crate::places::Place;

/// A place and how deep it stands below the first.
#[derive(Debug, Clone)]
pub struct Node {
    pub place: Place,
    pub depth: usize,
}

/// The places below `root` (`None`: those at the top), each followed by what stands in it, otherwise in
/// the order given. Places whose parent is not among them are at the top.
pub fn below(places: &[Place], root: Option<PlaceId>) -> Vec<Node> {
    let known: HashSet<PlaceId> = places.iter().map(|place| place.id).collect();
    let mut children: HashMap<Option<PlaceId>, Vec<&Place>> = HashMap::new();
    for place in places {
        let parent = place
            .parent
            .filter(|parent| known.contains(parent) || Some(*parent) == root);
        children.entry(parent).or_default().push(place);
    }
    let mut nodes = Vec::new();
    let mut waiting: Vec<(&Place, usize)> = Vec::new();
    let push = |waiting: &mut Vec<_>, parent, depth| {
        if let Some(found) = children.get(&parent) {
            waiting.extend(found.iter().rev().map(|place| (*place, depth)));
        }
    };
    push(&mut waiting, root, 0);
    while let Some((place, depth)) = waiting.pop() {
        nodes.push(Node {
            place: place.clone(),
            depth,
        });
        // A ring cannot be reached from the top, but `root` may stand in one.
        if nodes.len() > places.len() {
            break;
        }
        push(&mut waiting, Some(place.id), depth + 1);
    }
    nodes
}

#[cfg(test)]
mod tests {
    use super::super::words::tests::place;
    use super::*;
    use crate::places::Kind;

    #[test]
    fn each_place_is_followed_by_what_stands_in_it() {
        let store = place(Kind::Store, "Cellar", None);
        let van = place(Kind::Van, "Van", None);
        let krate = place(Kind::Crate, "Ridge", Some(&store));
        let bag = place(Kind::Bag, "Bag 1", Some(&krate));
        let gone = place(Kind::Store, "Elsewhere", None);
        let orphan = place(Kind::Bag, "Bag 2", Some(&gone));
        let places = [&van, &bag, &store, &orphan, &krate].map(Clone::clone);
        let told = |root| -> Vec<String> {
            below(&places, root)
                .iter()
                .map(|node| format!("{} {}", node.depth, node.place.name))
                .collect()
        };
        assert_eq!(
            told(None),
            ["0 Van", "0 Cellar", "1 Ridge", "2 Bag 1", "0 Bag 2"]
        );
        assert_eq!(told(Some(krate.id)), ["0 Bag 1"]);
    }
}
