//! Class lists, and what is held on people: given out and deleted without a trace.

use super::*;

fn member(user: &str, part: Part, status: MemberStatus) -> Member {
    let name = Some(PersonName(format!("Name of {user}")));
    Member { user: user.into(), part, status, name, seen_at: monday() }
}

fn members_told(members: &[Member]) -> Vec<(&str, Part, MemberStatus)> {
    members.iter().map(|member| (member.user.as_str(), member.part, member.status)).collect()
}

async fn a_class_list_marks_who_left_and_forgets_who_never_worked(store: Arc<dyn Storage>) {
    use {MemberStatus::*, Part::*};
    let placed = placement(store.as_ref(), "l1", 1).await;
    let url: url::Url = "https://platform.example.org/roster".parse().unwrap();
    assert_eq!(store.claim_roster(&placed.id, later(0), later(0)).await.unwrap(), None, "no list is known");
    for (user, part) in [("preview", Preview), ("teacher", Teacher), ("u1", Pupil), ("u2", Pupil)] {
        let link = link_to(&placed, member(user, part, Active));
        follow(store.as_ref(), LinkOpening { roster: Some(url.clone()), ..link }).await;
    }
    open_attempt(store.as_ref(), &placed, "u1").await;
    let differences: Option<url::Url> = Some("https://platform.example.org/roster?since=4".parse().unwrap());
    let whole = |members: Vec<Member>| RosterReading::Whole { members, differences: differences.clone() };
    let listed =
        vec![member("u3", Pupil, Active), member("u4", Pupil, Inactive), member("preview", Pupil, Active)];
    store.put_roster(&placed.id, whole(listed), later(5)).await.unwrap();
    assert_eq!(
        members_told(&store.members_at(&placed.id).await.unwrap()),
        [
            ("preview", Preview, Active),
            ("teacher", Teacher, Active),
            ("u1", Pupil, Deleted),
            ("u3", Pupil, Active),
            ("u4", Pupil, Inactive),
        ]
    );
    let changes =
        vec![member("u1", Pupil, Active), member("u3", Pupil, Deleted), member("u5", Pupil, Active)];
    let changes = RosterReading::Changes { members: changes, differences: None };
    store.put_roster(&placed.id, changes, later(9)).await.unwrap();
    let members = store.members_at(&placed.id).await.unwrap();
    let pupils: Vec<_> = members_told(&members).into_iter().filter(|(_, part, _)| *part == Pupil).collect();
    assert_eq!(pupils, [("u1", Pupil, Active), ("u4", Pupil, Inactive), ("u5", Pupil, Active)]);
    let roster = store.roster(&placed.id).await.unwrap().unwrap();
    assert_eq!((roster.differences, roster.read_at), (None, Some(later(9))));

    assert_eq!(store.forget_names().await.unwrap(), 5);
    assert!(store.members_at(&placed.id).await.unwrap().iter().all(|member| member.name.is_none()));
}

async fn one_of_many_reads_a_class_list(store: Arc<dyn Storage>) {
    let placed = placement(store.as_ref(), "l1", 1).await;
    let url: url::Url = "https://platform.example.org/roster".parse().unwrap();
    let listed_at = |url: &url::Url| {
        let link = link_to(&placed, member("u1", Part::Pupil, MemberStatus::Active));
        LinkOpening { roster: Some(url.clone()), ..link }
    };
    follow(store.as_ref(), listed_at(&url)).await;
    let claim = |asked_before, now| {
        let (store, id) = (store.clone(), placed.id.clone());
        async move { store.claim_roster(&id, asked_before, now).await.unwrap().is_some() }
    };
    let (one, other) = tokio::join!(claim(later(0), later(10)), claim(later(0), later(10)));
    assert!(one != other, "one of both, whichever comes first");
    assert!(!claim(later(9), later(19)).await, "it was asked for after that");
    assert!(claim(later(10), later(20)).await);
    let failed = RosterReading::Failed { problem: "busy".to_owned() };
    store.put_roster(&placed.id, failed, later(21)).await.unwrap();
    let moved: url::Url = "https://platform.example.org/list".parse().unwrap();
    follow(store.as_ref(), listed_at(&moved)).await;
    let roster = store.roster(&placed.id).await.unwrap().unwrap();
    assert_eq!((roster.url, roster.read_at, roster.problem), (moved, None, Some("busy".to_owned())));
}

/// Two quizzes of a course with their teacher, and with attempts, grades, sessions, names and the trail of two pupils. Grades of the first quiz
/// are delivered, those of the second wait.
pub(super) async fn a_school_year(store: &dyn Storage) -> [Placement; 2] {
    let placed = [placement(store, "l1", 2).await, placement(store, "l2", 2).await];
    for quiz in &placed {
        for user in ["sub-of-ines", "sub-of-jonte"] {
            follow(store, link_to(quiz, member(user, Part::Pupil, MemberStatus::Active))).await;
            submit(store, quiz, user, 5).await;
        }
        if quiz.id == placed[0].id {
            for grade in lease(store, monday()).await {
                store.finish_grade(&grade, &DeliveryOutcome::Delivered, monday()).await.unwrap();
            }
        }
        let by =
            Actor::Person { registration: quiz.quiz.link.registration, user: Some("sub-of-ines".into()) };
        store.send_again(&quiz.id, None, &Change { at: monday(), by }).await.unwrap();
    }
    placed
}

fn of_ines() -> PurgeScope {
    PurgeScope::Pupil { issuer: ISSUER.to_owned(), user: "sub-of-ines".into() }
}

async fn purge(store: &dyn Storage, scope: &PurgeScope, waiting: WaitingGrades, dry_run: bool) -> Purged {
    store.purge(scope, waiting, dry_run, &change()).await.unwrap()
}

async fn all_that_is_held_on_a_pupil_is_given_out_and_deleted(store: Arc<dyn Storage>) {
    let [first, second] = a_school_year(store.as_ref()).await;
    let held = store.held(ISSUER, &"sub-of-ines".into(), &change()).await.unwrap();
    let quizzes: Vec<_> =
        held.quizzes.iter().map(|quiz| (quiz.attempts.len(), quiz.member.is_some())).collect();
    assert_eq!(quizzes, [(1, true), (1, true)]);
    assert_eq!((held.sessions.len(), held.audit.len()), (2, 2));
    assert_eq!(
        store.held("https://other.example.org", &"sub-of-ines".into(), &change()).await.unwrap().quizzes,
        []
    );

    assert_eq!(
        purge(store.as_ref(), &of_ines(), WaitingGrades::Refuse, false).await,
        Purged::GradesWaiting(1),
        "a grade that is on its way is not lost without a word"
    );
    let counts = PurgeCounts { people: 2, attempts: 2, grades: 2, sessions: 2, members: 2, audit: 2 };
    let expected = Purged::Done { counts, waiting: 1 };
    assert_eq!(
        purge(store.as_ref(), &of_ines(), WaitingGrades::Delete, true).await,
        expected,
        "only counted"
    );
    assert_eq!(store.attempts_at(&first.id).await.unwrap().len(), 2);
    assert_eq!(purge(store.as_ref(), &of_ines(), WaitingGrades::Delete, false).await, expected);

    let held = store.held(ISSUER, &"sub-of-ines".into(), &change()).await.unwrap();
    assert_eq!((held.quizzes.len(), held.sessions.len(), held.audit.len()), (0, 0, 0));
    for quiz in [&first, &second] {
        let others: Vec<_> = store.attempts_at(&quiz.id).await.unwrap();
        assert_eq!(others.iter().map(|attempt| attempt.user.as_str()).collect::<Vec<_>>(), ["sub-of-jonte"]);
    }
    let all = AuditQuery { registration: None, placement: None, before: None, limit: 100 };
    let trail = store.audit(&all).await.unwrap();
    let sent_again = trail.iter().filter(|entry| entry.action == Action::GradesSentAgain).count();
    assert_eq!(sent_again, 2, "entries stay");
    let purged = trail.iter().find(|entry| entry.action == Action::PersonPurged).unwrap();
    assert!(
        purged.detail.contains("2 attempts") && !format!("{trail:?}").contains("sub-of-ines"),
        "{purged:?}"
    );
}

async fn a_course_and_a_platform_are_deleted_whole(store: Arc<dyn Storage>) {
    let [first, second] = a_school_year(store.as_ref()).await;
    let elsewhere = NewPlacement {
        link: LinkKey { deployment: "d2".into(), ..second.quiz.link.clone() },
        ..second.quiz.clone()
    };
    let elsewhere = place(store.as_ref(), elsewhere).await;
    submit(store.as_ref(), &elsewhere, "sub-of-ines", 4).await;
    let course = |deployment: Option<&str>| PurgeScope::Course {
        issuer: ISSUER.to_owned(),
        deployment: deployment.map(DeploymentId::from),
        context: "course".into(),
    };
    let force = WaitingGrades::Delete;
    assert_eq!(purge(store.as_ref(), &course(None), force, false).await, Purged::SeveralCourses);
    let Purged::Done { counts, waiting } = purge(store.as_ref(), &course(Some("d1")), force, false).await
    else {
        panic!("not done")
    };
    // Two pupils and the teacher at each quiz.
    assert_eq!((counts.people, counts.attempts, counts.sessions, waiting), (6, 4, 6, 2));
    assert!(store.attempts_at(&first.id).await.unwrap().is_empty());
    assert_eq!(store.attempts_at(&elsewhere.id).await.unwrap().len(), 1);
    assert!(store.placement(&first.id).await.unwrap().is_some(), "a placement says nothing on a person");

    let unknown = PurgeScope::Platform { issuer: "https://other.example.org".to_owned() };
    assert_eq!(purge(store.as_ref(), &unknown, force, false).await, Purged::NoPlatform);
    let platform = PurgeScope::Platform { issuer: ISSUER.to_owned() };
    let Purged::Done { counts, .. } = purge(store.as_ref(), &platform, force, false).await else {
        panic!("not done")
    };
    assert_eq!((counts.people, counts.attempts), (2, 1), "a pupil and the teacher");
    assert!(store.attempts_at(&elsewhere.id).await.unwrap().is_empty());
}

async fn old_data_goes_but_no_grade_on_its_way(store: Arc<dyn Storage>) {
    let [first, second] = a_school_year(store.as_ref()).await;
    let before = |time| PurgeScope::Before(time);
    let Purged::Done { counts, .. } =
        purge(store.as_ref(), &before(monday()), WaitingGrades::Keep, false).await
    else {
        panic!("not done")
    };
    assert_eq!(counts, PurgeCounts::default(), "nothing is older than that");
    let purged = purge(store.as_ref(), &before(later(1)), WaitingGrades::Keep, false).await;
    let Purged::Done { counts, waiting } = purged else { panic!("not done") };
    assert_eq!(
        (counts.people, counts.attempts, waiting),
        (4, 2, 2),
        "the pupils of the first, both teachers"
    );
    assert!(store.attempts_at(&first.id).await.unwrap().is_empty());
    assert_eq!(store.attempts_at(&second.id).await.unwrap().len(), 2, "their grades wait");
}

/// Looked for in the bytes of the files, as somebody would who finds a disk.
#[tokio::test(flavor = "multi_thread")]
async fn no_trace_of_a_purged_pupil_is_left_in_the_files() {
    for whole in [false, true] {
        let folder = tempfile::tempdir().unwrap();
        let store = open(&format!("sqlite:{}", folder.path().join("store.db").display())).unwrap();
        let [quiz, _] = a_school_year(store.as_ref()).await;
        // Enough others that pages of the tables are split, moved and filled around the pupil's rows.
        for number in 0..300 {
            let user = format!("sub-of-{}-and-some-more-signs", number * 7919 % 300);
            let pupil = member(&user, Part::Pupil, MemberStatus::Active);
            follow(store.as_ref(), link_to(&quiz, pupil)).await;
            submit(store.as_ref(), &quiz, &user, number % 10).await;
        }
        let found = |text: &str| {
            let mut files = std::fs::read_dir(folder.path()).unwrap();
            files.any(|file| {
                let bytes = std::fs::read(file.unwrap().path()).unwrap();
                bytes.windows(text.len()).any(|window| window == text.as_bytes())
            })
        };
        let traces = ["sub-of-ines", "Name of sub-of-ines"];
        assert!(traces.iter().all(|trace| found(trace)));
        purge(store.as_ref(), &of_ines(), WaitingGrades::Delete, false).await;
        store.clear_traces(whole).await.unwrap();
        for trace in traces {
            assert!(!found(trace), "{trace}");
        }
        assert!(found("sub-of-jonte"), "the others are still there");
        let all = PurgeScope::Platform { issuer: ISSUER.to_owned() };
        purge(store.as_ref(), &all, WaitingGrades::Delete, false).await;
        store.clear_traces(whole).await.unwrap();
        assert!(!found("sub-of-") && !found("Name of"), "whole: {whole}");
    }
}

on_every_store! {
    a_class_list_marks_who_left_and_forgets_who_never_worked
    one_of_many_reads_a_class_list
    all_that_is_held_on_a_pupil_is_given_out_and_deleted
    a_course_and_a_platform_are_deleted_whole
    old_data_goes_but_no_grade_on_its_way
}
