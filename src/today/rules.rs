//! Which job comes first today. Pure.

use crate::clock::Day;
use crate::ids::{CountId, KitId, RevisionId};

/// What is known of one kit of the viewer's teams.
#[derive(Debug, Clone)]
pub struct KitFacts {
    pub kit: KitId,
    pub name: String,
    /// The viewer may decide about it, not only count.
    pub keeps: bool,
    pub received_on: Option<Day>,
    pub report_by: Option<Day>,
    pub open: Option<OpenCount>,
    /// A count was closed.
    pub counted: bool,
    /// The last closed count said that nothing more is expected.
    pub complete: bool,
    /// Kinds of part the kit needs.
    pub lines: i64,
    /// Of these, all here.
    pub lines_here: i64,
    /// Pieces lacking.
    pub lacking: i64,
    /// They were reported to the supplier, and that report is under way.
    pub reported: bool,
    /// Parts that are only looked at, and low or gone.
    pub to_buy: i64,
    /// A later revision of its guide exists.
    pub newer_revision: Option<(RevisionId, String)>,
}

/// A count that is going on.
#[derive(Debug, Clone)]
pub struct OpenCount {
    pub count: CountId,
    pub bags: i64,
    pub bags_counted: i64,
    /// Who is counting now, by name.
    pub counting: Vec<String>,
}

/// What is known of the lists, for whoever may add to them.
#[derive(Debug, Clone, Copy, Default)]
pub struct ListFacts {
    pub guides: i64,
    /// The newest revision whose list is still empty.
    pub empty: Option<RevisionId>,
    pub may_keep: bool,
}

/// What of the viewer's teams waits apart from any kit's count.
#[derive(Debug, Clone, Copy, Default)]
pub struct OpenFacts {
    /// Reports of damage that nobody has looked at.
    pub reports: i64,
    /// Lines for the next order.
    pub to_order: i64,
    /// Lines that were ordered and should have been here.
    pub late: i64,
}

/// One thing to do.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Job {
    AddGuide,
    ReadList {
        revision: RevisionId,
    },
    AddKit,
    Unpack {
        kit: KitId,
        name: String,
    },
    GoOnCounting {
        count: CountId,
        name: String,
        bags: i64,
        bags_counted: i64,
        counting: Vec<String>,
    },
    Report {
        kit: KitId,
        name: String,
        short: i64,
        by: Option<Day>,
        days_left: Option<i64>,
    },
    MoreToCome {
        kit: KitId,
        name: String,
        pieces: i64,
    },
    NewerRevision {
        revision: RevisionId,
        label: String,
        name: String,
    },
    /// Parts that are only looked at are low.
    Shop {
        parts: i64,
    },
    /// Damage that was told by people without an account, or of an unknown part.
    LookAtReports {
        waiting: i64,
    },
    /// Pieces that wait for the next order, and orders that should have been here.
    Orders {
        waiting: i64,
        late: i64,
    },
    /// Backups are not made as they should be.
    LookAtBackups {
        why: String,
    },
}

/// Every job there is, the first one first. Counting that was begun goes before everything; a kit that
/// nobody opened goes before shorts; shorts with fewer days left go first. Reports of damage come between
/// shorts that must be claimed in two days and those that have longer. Orders come after everything that has a
/// last day or a box that is awaited, before new revisions and the shopping.
pub fn choose(kits: &[KitFacts], lists: ListFacts, open: OpenFacts, today: Day) -> Vec<Job> {
    let mut jobs: Vec<(u8, i64, Job)> = Vec::new();
    let OpenFacts {
        reports,
        to_order,
        late,
    } = open;
    if reports > 0 {
        jobs.push((3, 2, Job::LookAtReports { waiting: reports }));
    }
    if to_order > 0 || late > 0 {
        let waiting = to_order;
        jobs.push((5, 0, Job::Orders { waiting, late }));
    }
    if lists.may_keep {
        if lists.guides == 0 {
            jobs.push((0, 0, Job::AddGuide));
        } else if let Some(revision) = lists.empty {
            jobs.push((0, 1, Job::ReadList { revision }));
        }
        if kits.is_empty() && lists.guides > 0 {
            jobs.push((0, 2, Job::AddKit));
        }
    }
    for kit in kits {
        let name = kit.name.clone();
        if let Some(open) = &kit.open {
            let OpenCount {
                count,
                bags,
                bags_counted,
                counting,
            } = open.clone();
            jobs.push((
                1,
                0,
                Job::GoOnCounting {
                    count,
                    name,
                    bags,
                    bags_counted,
                    counting,
                },
            ));
        } else if !kit.counted && kit.lines > 0 {
            let waited = kit.received_on.map_or(0, |day| -day.days_until(today));
            jobs.push((2, waited, Job::Unpack { kit: kit.kit, name }));
        } else if kit.counted && kit.lacking > 0 && !kit.complete {
            jobs.push((
                4,
                0,
                Job::MoreToCome {
                    kit: kit.kit,
                    name,
                    pieces: kit.lacking,
                },
            ));
        } else if kit.complete && kit.lacking > 0 && kit.keeps && !kit.reported {
            let days_left = kit.report_by.map(|by| today.days_until(by));
            // A day that has passed is no job any more; the kit's page still says it.
            if days_left.is_none_or(|days| days >= 0) {
                let short = kit.lacking;
                let by = kit.report_by;
                let job = Job::Report {
                    kit: kit.kit,
                    name,
                    short,
                    by,
                    days_left,
                };
                jobs.push((3, days_left.unwrap_or(i64::MAX), job));
            }
        }
        if let (Some((revision, label)), true) = (&kit.newer_revision, kit.keeps) {
            let job = Job::NewerRevision {
                revision: *revision,
                label: label.clone(),
                name: kit.name.clone(),
            };
            jobs.push((5, 1, job));
        }
    }
    let parts = kits.iter().map(|kit| kit.to_buy).sum();
    if parts > 0 {
        jobs.push((5, 2, Job::Shop { parts }));
    }
    jobs.sort_by_key(|(rank, within, _)| (*rank, *within));
    jobs.into_iter().map(|(_, _, job)| job).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn kit(name: &str) -> KitFacts {
        KitFacts {
            kit: KitId::new(),
            name: name.into(),
            keeps: true,
            received_on: None,
            report_by: None,
            open: None,
            counted: true,
            complete: true,
            lines: 10,
            lines_here: 10,
            lacking: 0,
            reported: false,
            to_buy: 0,
            newer_revision: None,
        }
    }

    #[test]
    fn what_is_low_in_any_kit_is_one_job() {
        let today = "2027-03-04".parse().unwrap();
        let mut low = kit("Low");
        low.to_buy = 2;
        let mut lower = kit("Lower");
        lower.to_buy = 1;
        let jobs = choose(
            &[low, lower],
            ListFacts::default(),
            OpenFacts::default(),
            today,
        );
        assert_eq!(jobs, [Job::Shop { parts: 3 }]);
    }

    fn names(kits: &[KitFacts], open: OpenFacts) -> Vec<String> {
        let today = "2027-03-04".parse().unwrap();
        let lists = ListFacts {
            guides: 1,
            ..ListFacts::default()
        };
        choose(kits, lists, open, today)
            .into_iter()
            .map(|job| match job {
                Job::GoOnCounting { name, .. } => format!("count {name}"),
                Job::Unpack { name, .. } => format!("unpack {name}"),
                Job::Report {
                    name, days_left, ..
                } => format!("report {name} {days_left:?}"),
                Job::MoreToCome { name, .. } => format!("wait {name}"),
                Job::NewerRevision { name, .. } => format!("revised {name}"),
                Job::AddGuide | Job::AddKit | Job::ReadList { .. } => "begin".into(),
                Job::LookAtReports { waiting } => format!("look at {waiting}"),
                Job::LookAtBackups { .. } => "backups".into(),
                Job::Shop { parts } => format!("buy {parts}"),
                Job::Orders { waiting, late } => format!("orders {waiting} {late}"),
            })
            .collect()
    }

    /// What waits apart from any kit: reports, lines to order, late lines.
    fn open(reports: i64, to_order: i64, late: i64) -> OpenFacts {
        OpenFacts {
            reports,
            to_order,
            late,
        }
    }

    #[test]
    fn begun_work_goes_first_then_what_is_unopened_then_shorts_by_days_left() {
        let by = |day: &str| Some(day.parse().unwrap());
        let open_count = OpenCount {
            count: CountId::new(),
            bags: 3,
            bags_counted: 1,
            counting: vec![],
        };
        let kits = [
            KitFacts {
                lacking: 2,
                report_by: by("2027-03-14"),
                ..kit("A")
            },
            KitFacts {
                lacking: 2,
                report_by: by("2027-03-06"),
                ..kit("B")
            },
            KitFacts {
                lacking: 2,
                report_by: by("2027-03-03"),
                ..kit("too late")
            },
            KitFacts {
                counted: false,
                complete: false,
                lacking: 9,
                ..kit("C")
            },
            KitFacts {
                open: Some(open_count),
                counted: false,
                ..kit("D")
            },
            KitFacts {
                complete: false,
                lacking: 1,
                ..kit("E")
            },
            kit("all here"),
        ];
        let expected = [
            "count D",
            "unpack C",
            "report B Some(2)",
            "report A Some(10)",
            "wait E",
        ];
        assert_eq!(names(&kits, OpenFacts::default()), expected);
    }

    #[test]
    fn what_waits_apart_from_a_kit_has_its_place_among_the_kits_jobs() {
        let by = |day: &str| Some(day.parse().unwrap());
        let soon = KitFacts {
            lacking: 2,
            report_by: by("2027-03-05"),
            ..kit("soon")
        };
        let later = KitFacts {
            lacking: 2,
            report_by: by("2027-03-08"),
            ..kit("later")
        };
        let awaited = KitFacts {
            complete: false,
            lacking: 1,
            ..kit("awaited")
        };
        let revised = KitFacts {
            newer_revision: Some((RevisionId::new(), "B".to_owned())),
            ..kit("revised")
        };
        let low = KitFacts {
            to_buy: 2,
            ..kit("low")
        };
        let shorts = [soon, later];
        let wants = [low, revised, awaited];
        let cases: [(&[KitFacts], OpenFacts, &[&str]); 9] = [
            (&[], open(0, 0, 0), &[]),
            (&[], open(0, 2, 0), &["orders 2 0"]),
            (&[], open(0, 0, 1), &["orders 0 1"]),
            (&[], open(3, 2, 1), &["look at 3", "orders 2 1"]),
            (
                &shorts,
                open(3, 0, 0),
                &["report soon Some(1)", "look at 3", "report later Some(4)"],
            ),
            (
                &shorts,
                open(0, 2, 1),
                &["report soon Some(1)", "report later Some(4)", "orders 2 1"],
            ),
            (&wants[..1], open(0, 2, 1), &["orders 2 1", "buy 2"]),
            (
                &wants,
                open(0, 0, 0),
                &["wait awaited", "revised revised", "buy 2"],
            ),
            (
                &wants,
                open(0, 2, 1),
                &["wait awaited", "orders 2 1", "revised revised", "buy 2"],
            ),
        ];
        for (kits, open, expected) in cases {
            assert_eq!(names(kits, open), expected, "{open:?}");
        }
    }

    #[test]
    fn crew_are_not_asked_to_report_or_to_follow_revisions() {
        let newer = Some((RevisionId::new(), "B".to_owned()));
        let facts = KitFacts {
            lacking: 2,
            newer_revision: newer,
            ..kit("A")
        };
        assert_eq!(
            names(std::slice::from_ref(&facts), OpenFacts::default()),
            ["report A None", "revised A"]
        );
        assert!(
            names(
                &[KitFacts {
                    keeps: false,
                    ..facts
                }],
                OpenFacts::default()
            )
            .is_empty()
        );
    }

    #[test]
    fn a_newcomer_is_led_from_guide_to_list_to_kit() {
        let today = "2027-03-04".parse().unwrap();
        let lists = ListFacts {
            may_keep: true,
            ..ListFacts::default()
        };
        assert_eq!(
            choose(&[], lists, OpenFacts::default(), today),
            [Job::AddGuide]
        );
        let revision = RevisionId::new();
        let lists = ListFacts {
            guides: 1,
            empty: Some(revision),
            may_keep: true,
        };
        assert_eq!(
            choose(&[], lists, OpenFacts::default(), today),
            [Job::ReadList { revision }, Job::AddKit]
        );
        assert!(choose(&[], ListFacts::default(), OpenFacts::default(), today).is_empty());
    }
}
