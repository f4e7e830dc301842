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

/// Puts what is to be ordered, or asked after, among the jobs: after everything that has a last day.
pub fn with_orders(mut jobs: Vec<Job>, waiting: i64, late: i64) -> Vec<Job> {
    if waiting > 0 || late > 0 {
        let at = jobs
            .iter()
            .position(|job| matches!(job, Job::NewerRevision { .. }))
            .unwrap_or(jobs.len());
        jobs.insert(at, Job::Orders { waiting, late });
    }
    jobs
}

/// Every job there is, the first one first. Counting that was begun goes before everything; a kit that
/// nobody opened goes before shorts; shorts with fewer days left go first. Reports of damage come between
/// shorts that must be claimed in two days and those that have longer.
pub fn choose(kits: &[KitFacts], lists: ListFacts, reports: i64, today: Day) -> Vec<Job> {
    let mut jobs: Vec<(u8, i64, Job)> = Vec::new();
    if reports > 0 {
        jobs.push((3, 2, Job::LookAtReports { waiting: reports }));
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
            jobs.push((5, 0, job));
        }
    }
    let parts = kits.iter().map(|kit| kit.to_buy).sum();
    if parts > 0 {
        jobs.push((5, 1, Job::Shop { parts }));
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
    fn what_is_low_in_any_kit_is_one_job_and_comes_last() {
        let today = "2027-03-04".parse().unwrap();
        let mut low = kit("Low");
        low.to_buy = 2;
        let mut lower = kit("Lower");
        lower.to_buy = 1;
        lower.newer_revision = Some((RevisionId::new(), "1.1".into()));
        let jobs = choose(&[low, lower], ListFacts::default(), 0, today);
        assert_eq!(jobs.last(), Some(&Job::Shop { parts: 3 }));
        assert_eq!(jobs.len(), 2);
    }

    #[test]
    fn reports_come_before_revisions_and_after_shorts_with_a_last_day() {
        let today = "2027-03-04".parse().unwrap();
        let mut short = kit("Short");
        short.counted = true;
        short.complete = true;
        short.lacking = 2;
        short.report_by = Some("2027-03-05".parse().unwrap());
        let jobs = choose(&[short], ListFacts::default(), 3, today);
        assert!(matches!(jobs[0], Job::Report { .. }), "{jobs:?}");
        assert_eq!(jobs[1], Job::LookAtReports { waiting: 3 });
    }

    fn names(kits: &[KitFacts]) -> Vec<String> {
        let today = "2027-03-04".parse().unwrap();
        choose(
            kits,
            ListFacts {
                guides: 1,
                ..ListFacts::default()
            },
            0,
            today,
        )
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
            Job::Orders { .. } => "orders".into(),
        })
        .collect()
    }

    #[test]
    fn begun_work_goes_first_then_what_is_unopened_then_shorts_by_days_left() {
        let by = |day: &str| Some(day.parse().unwrap());
        let open = OpenCount {
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
                open: Some(open),
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
        assert_eq!(names(&kits), expected);
    }

    #[test]
    fn orders_come_before_revisions_only() {
        let newer = Some((RevisionId::new(), "B".to_owned()));
        let kits = [KitFacts {
            lacking: 2,
            newer_revision: newer,
            ..kit("A")
        }];
        let today = "2027-03-04".parse().unwrap();
        let jobs = || choose(&kits, ListFacts::default(), 0, today);
        assert_eq!(with_orders(jobs(), 0, 0), jobs());
        let with = with_orders(jobs(), 2, 1);
        assert!(matches!(with[0], Job::Report { .. }), "{with:?}");
        assert_eq!(
            with[1],
            Job::Orders {
                waiting: 2,
                late: 1
            }
        );
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
            names(std::slice::from_ref(&facts)),
            ["report A None", "revised A"]
        );
        assert!(
            names(&[KitFacts {
                keeps: false,
                ..facts
            }])
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
        assert_eq!(choose(&[], lists, 0, today), [Job::AddGuide]);
        let revision = RevisionId::new();
        let lists = ListFacts {
            guides: 1,
            empty: Some(revision),
            may_keep: true,
        };
        assert_eq!(
            choose(&[], lists, 0, today),
            [Job::ReadList { revision }, Job::AddKit]
        );
        assert!(choose(&[], ListFacts::default(), 0, today).is_empty());
    }
}
