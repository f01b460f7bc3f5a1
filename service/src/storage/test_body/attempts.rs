//! Attempts: begun, typed in, handed in, set aside, given other points, and begun on paper.

use super::*;

async fn attempts_are_continued_counted_and_used_up(store: Arc<dyn Storage>) {
    let placed = placement(store.as_ref(), "l1", 2).await;
    let first = open_attempt(store.as_ref(), &placed, "u1").await;
    assert_eq!(open_attempt(store.as_ref(), &placed, "u1").await, first, "continued");
    store.submit_attempt(submission(&first, 3)).await.unwrap();
    let second = open_attempt(store.as_ref(), &placed, "u1").await;
    assert_eq!((first.number, second.number), (1, 2));
    store.submit_attempt(submission(&second, 4)).await.unwrap();
    let third =
        store.start_attempt(&placed.id, &"u1".into(), "seed", Announce::Nothing, monday()).await.unwrap();
    assert_eq!(third, Started::UsedUp);
    let nowhere =
        store.start_attempt(&"none".into(), &"u1".into(), "seed", Announce::Nothing, monday()).await.unwrap();
    assert_eq!(nowhere, Started::NoPlacement);
    open_attempt(store.as_ref(), &placed, "u0").await;
    let all = store.attempts_at(&placed.id).await.unwrap();
    let order: Vec<_> = all.iter().map(|attempt| (attempt.user.as_str(), attempt.number)).collect();
    assert_eq!(order, [("u0", 1), ("u1", 1), ("u1", 2)]);
}

async fn responses_are_merged_by_step_and_closed_with_the_attempt(store: Arc<dyn Storage>) {
    let placed = placement(store.as_ref(), "l1", 1).await;
    let attempt = open_attempt(store.as_ref(), &placed, "u1").await;
    let typed = |page: &str, seen: &str, question: &str, text: &str| {
        let steps = [("total".to_owned(), text.to_owned())].into();
        Typing::from_page(page, seen, Responses::from([(question.to_owned(), steps)]))
    };
    let mut revisions = Vec::new();
    for typing in [typed("a", "0", "q1", "1,5"), typed("a", "1", "q2", "2"), typed("a", "2", "q1", "1.5")] {
        revisions.push(store.keep_typing(&attempt.id, &typing).await.unwrap().unwrap().revision);
    }
    assert_eq!(revisions, [1, 2, 3]);
    let late = store.keep_typing(&attempt.id, &typed("b", "2", "q1", "7")).await.unwrap().unwrap();
    assert_eq!((late.revision, late.refused["q1"]["total"].as_str()), (3, "7"));
    let stored = store.attempt(&attempt.id).await.unwrap().unwrap();
    assert_eq!(stored.revision, 3);
    let saved = stored.responses;
    assert_eq!((saved["q1"]["total"].as_str(), saved["q2"]["total"].as_str()), ("1.5", "2"));

    let closing = Submission { responses: saved.clone(), ..submission(&attempt, 7) };
    let Submitted::Closed(closed) = store.submit_attempt(closing).await.unwrap() else {
        panic!("not closed")
    };
    assert_eq!(store.attempt(&attempt.id).await.unwrap(), Some(closed.clone()));
    assert!(store.keep_typing(&attempt.id, &typed("a", "3", "q1", "9")).await.unwrap().is_none());
    let again = store.submit_attempt(submission(&attempt, 10)).await.unwrap();
    assert_eq!(again, Submitted::AlreadyClosed(closed));
    let unknown = Submission { attempt: "none".into(), ..submission(&attempt, 1) };
    assert_eq!(store.submit_attempt(unknown).await.unwrap(), Submitted::NoAttempt);
}

async fn a_reset_sets_attempts_aside_and_takes_the_grade_back(store: Arc<dyn Storage>) {
    let placed = placement(store.as_ref(), "l1", 1).await;
    let announce = Announce::Begun { maximum: 10 };
    let first = start(store.as_ref(), &placed, "u1", announce).await;
    store.submit_attempt(submission(&first, 4)).await.unwrap();
    let sent = lease(store.as_ref(), monday()).await.pop().unwrap();
    finish(store.as_ref(), &sent, DeliveryOutcome::Delivered).await;

    assert_eq!(store.reset_pupil(&placed.id, &"u1".into(), &change()).await.unwrap(), 1);
    assert_eq!(store.reset_pupil(&placed.id, &"u1".into(), &change()).await.unwrap(), 0, "once");
    assert_eq!(store.attempts_at(&placed.id).await.unwrap(), []);
    assert_eq!(store.attempt(&first.id).await.unwrap(), None);
    let reset = lease(store.as_ref(), later(1)).await.pop().unwrap();
    assert_eq!(reset.progress, Progress::Reset);
    finish(store.as_ref(), &reset, DeliveryOutcome::Delivered).await;
    assert_eq!(standing(store.as_ref(), &placed, "u1").await.cell, CellState::default());

    // The pupil begins anew, with all attempts allowed.
    let again = start(store.as_ref(), &placed, "u1", announce).await;
    assert_eq!(again.number, 1);
    assert_eq!(told(&lease(store.as_ref(), later(2)).await), [("u1", "started", None)]);
    let query = AuditQuery { registration: None, placement: Some(placed.id.clone()), before: None, limit: 9 };
    let trail = store.audit(&query).await.unwrap();
    assert_eq!(trail.len(), 1);
    assert_eq!((trail[0].action, trail[0].detail.as_str()), (Action::WorkReset, "attempt 1: 4 of 10"));
}

async fn a_reset_before_anything_was_sent_sends_nothing(store: Arc<dyn Storage>) {
    let placed = placement(store.as_ref(), "l1", 1).await;
    submit(store.as_ref(), &placed, "u1", 4).await;
    store.reset_pupil(&placed.id, &"u1".into(), &change()).await.unwrap();
    assert_eq!(lease(store.as_ref(), later(1)).await, []);
    assert_eq!(store.deliveries_at(&placed.id).await.unwrap(), []);
}

/// Two steps of a point each, of which the second was given none.
const MARKS: &str = r#"[{"pupil": "u1", "question": "q1", "points": 1, "max": 2, "steps": [
    {"id": "a", "response": "1", "points": 1, "max": 1, "verdict": "correct", "misconceptions": [], "note": ""},
    {"id": "b", "response": "2", "points": 0, "max": 1, "verdict": "wrong", "misconceptions": [], "note": ""}]}]"#;

/// A submission with those marks.
fn marked(attempt: &Attempt) -> Submission {
    let result = AttemptResult {
        submitted_at: monday(),
        marks: MARKS.to_owned(),
        points: 1,
        maximum: 2,
        overrides: Vec::new(),
    };
    Submission { result, ..submission(attempt, 1) }
}

fn given(points: u32) -> Points {
    Points::Given { points, reason: "said aloud".to_owned() }
}

async fn points_by_the_teachers_word_change_the_grade_and_can_be_taken_back(store: Arc<dyn Storage>) {
    let placed = placement(store.as_ref(), "l1", 2).await;
    let first = open_attempt(store.as_ref(), &placed, "u1").await;
    store.submit_attempt(marked(&first)).await.unwrap();
    let second = open_attempt(store.as_ref(), &placed, "u1").await;
    let set = |id: AttemptId, step: &'static str, points, deliver| {
        let store = store.clone();
        async move { store.override_points(&id, "q1", step, points, deliver, &change()).await.unwrap() }
    };
    assert_eq!(set(second.id.clone(), "b", given(1), true).await, Overridden::NoAttempt, "still open");
    store.submit_attempt(marked(&second)).await.unwrap();
    assert_eq!(set("none".into(), "b", given(1), true).await, Overridden::NoAttempt);
    assert_eq!(set(second.id.clone(), "c", given(1), true).await, Overridden::NoStep);
    assert_eq!(set(second.id.clone(), "b", given(2), true).await, Overridden::NoStep, "more than it has");
    assert_eq!(told(&lease(store.as_ref(), monday()).await), [("u1", "graded", Some(1))]);

    // The other attempt is the best one now.
    let Overridden::Done(changed) = set(second.id.clone(), "b", given(1), true).await else { panic!() };
    assert_eq!(store.attempt(&second.id).await.unwrap(), Some(changed.clone()));
    let result = changed.result.unwrap();
    assert_eq!((result.points, result.overrides.len()), (2, 1));
    assert_eq!(result.marks, MARKS, "our own marks stay");
    assert_eq!(result.marked().unwrap()[0].points, 2);
    assert_eq!(told(&lease(store.as_ref(), later(60_000)).await), [("u1", "graded", Some(2))]);
    set(second.id.clone(), "b", given(0), false).await;
    assert_eq!(store.attempt(&second.id).await.unwrap().unwrap().result.unwrap().points, 1);
    assert_eq!(
        standing(store.as_ref(), &placed, "u1").await.progress.score().map(|score| score.points),
        Some(2),
        "of a preview nothing is sent"
    );
    set(second.id.clone(), "b", Points::AsMarked, true).await;
    set(second.id.clone(), "b", Points::AsMarked, true).await;
    assert_eq!(store.attempt(&second.id).await.unwrap().unwrap().result, Some(marked(&second).result));
    assert_eq!(told(&lease(store.as_ref(), later(120_000)).await), [("u1", "graded", Some(1))]);

    let query = AuditQuery { registration: None, placement: Some(placed.id.clone()), before: None, limit: 9 };
    let trail = store.audit(&query).await.unwrap();
    let actions: Vec<Action> = trail.iter().map(|entry| entry.action).collect();
    assert_eq!(actions, [Action::PointsRestored, Action::PointsChanged, Action::PointsChanged]);
    assert_eq!(
        trail[2].detail,
        "attempt 2, question q1, step b: 0 to 1 of 1 points; the attempt 1 to 2 of 2"
    );
    assert!(trail.iter().all(|entry| !entry.detail.contains("aloud")), "no reason in the trail");
}

async fn one_pupil_may_have_more_attempts_than_the_others(store: Arc<dyn Storage>) {
    let placed = placement(store.as_ref(), "l1", 1).await;
    for user in ["u1", "u2"] {
        submit(store.as_ref(), &placed, user, 3).await;
    }
    let again = |user: &'static str| {
        let (store, placed) = (store.clone(), placed.clone());
        async move {
            let user = user.into();
            let started = store.start_attempt(&placed.id, &user, "seed", Announce::Nothing, monday()).await;
            matches!(started.unwrap(), Started::Open(_))
        }
    };
    let allow = |known| {
        let (store, placed) = (store.clone(), placed.clone());
        async move { store.allow_attempt(&placed.id, &"u1".into(), known, &change()).await.unwrap() }
    };
    assert!(!again("u1").await);
    assert_eq!(allow(0).await, Allowed::Extra(1));
    assert_eq!(allow(0).await, Allowed::Otherwise(1), "a second press of the button");
    assert_eq!(allow(1).await, Allowed::Extra(2));
    assert_eq!(store.extra_attempts(&placed.id).await.unwrap(), [("u1".into(), 2)].into());
    assert!(again("u1").await && !again("u2").await);
    let held = store.held(ISSUER, &"u1".into(), &change()).await.unwrap();
    assert_eq!(held.quizzes[0].extra_attempts, 2);
    store.reset_pupil(&placed.id, &"u1".into(), &change()).await.unwrap();
    assert_eq!(store.extra_attempts(&placed.id).await.unwrap(), BTreeMap::new(), "begins anew as all did");
    let query = AuditQuery { registration: None, placement: Some(placed.id.clone()), before: None, limit: 9 };
    let trail = store.audit(&query).await.unwrap();
    let allowed: Vec<&str> = trail
        .iter()
        .filter(|entry| entry.action == Action::AttemptAllowed)
        .map(|entry| entry.detail.as_str())
        .collect();
    let beyond = "attempts beyond those of the quiz";
    assert_eq!(allowed, [format!("1 to 2 {beyond}"), format!("0 to 1 {beyond}")]);
}

async fn many_submits_at_once_all_count(store: Arc<dyn Storage>) {
    let placed = placement(store.as_ref(), "l1", 1).await;
    let mut tasks = tokio::task::JoinSet::new();
    for number in 0..200 {
        let (store, placed) = (store.clone(), placed.clone());
        tasks.spawn(async move { submit(store.as_ref(), &placed, &format!("u{number}"), 5).await });
    }
    tasks.join_all().await;
    assert_eq!(store.delivery_queue().await.unwrap().waiting, 200);
    assert_eq!(store.attempts_at(&placed.id).await.unwrap().len(), 200);
}

/// What a reset set aside counts for nothing, so it is not handed in; but it is held, and given out.
async fn attempts_left_open_at_the_end_are_found_once(store: Arc<dyn Storage>) {
    let placed = placement(store.as_ref(), "l1", 3).await;
    let end = [(Edge::SubmissionUntil, later(1_000))];
    let windows = Windows::placed(end, None);
    store.set_windows(&placed.id, &windows, &change()).await.unwrap();
    open_attempt(store.as_ref(), &placed, "reset").await;
    store.reset_pupil(&placed.id, &"reset".into(), &change()).await.unwrap();
    submit(store.as_ref(), &placed, "done", 5).await;
    let open = open_attempt(store.as_ref(), &placed, "open").await;
    let overdue = |now| {
        let store = store.clone();
        async move { store.overdue_attempts(now, 10).await.unwrap() }
    };
    assert_eq!(overdue(later(999)).await, []);
    assert_eq!(overdue(later(1_000)).await, [OverdueAttempt { attempt: open.clone(), preview: false }]);

    let result = AttemptResult { submitted_at: later(1_000), ..submission(&open, 3).result };
    let closing = Submission { result, at: later(90_000), ..submission(&open, 3) };
    store.submit_attempt(closing).await.unwrap();
    assert_eq!(overdue(later(1_000)).await, []);
    let due = lease(store.as_ref(), later(90_000)).await;
    let grade = due.iter().find(|grade| grade.user.as_str() == "open").unwrap();
    assert_eq!(grade.waiting_since, later(90_000), "a grade waits since it is there");

    let held = store.held(ISSUER, &"reset".into(), &change()).await.unwrap();
    assert_eq!(
        held.quizzes[0].attempts.iter().map(|(_, aside)| *aside).collect::<Vec<_>>(),
        [Some(monday())]
    );
}

async fn sheets_are_kept_in_order_begun_by_one_pupil_and_forgotten_with_them(store: Arc<dyn Storage>) {
    let placed = placement(&*store, "l1", 2).await;
    let other = placement(&*store, "l2", 2).await;
    let sheet = |number: u32, user: Option<&str>| StoredSheet {
        code: SheetCode::of(&number.to_string()),
        placement: placed.id.clone(),
        user: user.map(UserId::from),
        made_at: monday(),
    };
    store.add_sheets(vec![sheet(2, Some("u1")), sheet(1, None)], &change()).await.unwrap();
    store.add_sheets(vec![sheet(3, None)], &change()).await.unwrap();
    let kept = store.sheets_at(&placed.id).await.unwrap();
    assert_eq!(kept, [sheet(2, Some("u1")), sheet(1, None), sheet(3, None)]);
    assert_eq!(store.sheet(sheet(3, None).code).await.unwrap(), Some(sheet(3, None)));
    assert_eq!(store.sheet(SheetCode::of("4")).await.unwrap(), None);

    let begin = async |placement: &PlacementId, number: u32, user: &str| {
        store.begin_sheet(placement, sheet(number, None).code, &user.into(), &change()).await.unwrap()
    };
    let SheetBegun::Open(begun) = begin(&placed.id, 1, "u2").await else { panic!("the sheet is free") };
    assert_eq!(begun.seed, sheet(1, None).code.seed());
    assert_eq!(begin(&placed.id, 1, "u2").await, SheetBegun::Open(begun), "again");
    assert_eq!(begin(&placed.id, 1, "u3").await, SheetBegun::Anothers);
    assert_eq!(begin(&placed.id, 3, "u2").await, SheetBegun::AnotherAttempt);
    assert_eq!(store.sheet(sheet(3, None).code).await.unwrap(), Some(sheet(3, None)), "it is nobody's still");
    assert_eq!(begin(&other.id, 3, "u3").await, SheetBegun::NoSheet);
    assert_eq!(begin(&placed.id, 4, "u3").await, SheetBegun::NoSheet);

    let scope = PurgeScope::Pupil { issuer: "https://platform.example.org".into(), user: "u2".into() };
    store.purge(&scope, WaitingGrades::Delete, false, &change()).await.unwrap();
    assert_eq!(store.sheets_at(&placed.id).await.unwrap(), [sheet(2, Some("u1")), sheet(3, None)]);
}

on_every_store! {
    attempts_are_continued_counted_and_used_up
    responses_are_merged_by_step_and_closed_with_the_attempt
    a_reset_sets_attempts_aside_and_takes_the_grade_back
    a_reset_before_anything_was_sent_sends_nothing
    points_by_the_teachers_word_change_the_grade_and_can_be_taken_back
    one_pupil_may_have_more_attempts_than_the_others
    many_submits_at_once_all_count
    attempts_left_open_at_the_end_are_found_once
    sheets_are_kept_in_order_begun_by_one_pupil_and_forgotten_with_them
}
