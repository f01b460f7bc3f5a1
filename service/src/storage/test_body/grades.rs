//! Grades on their way: what waits, who sends it and when, and what stands in the gradebook.

use super::*;

async fn the_best_grade_waits_and_previews_do_not(store: Arc<dyn Storage>) {
    let placed = placement(store.as_ref(), "l1", 3).await;
    for points in [4, 9, 6] {
        submit(store.as_ref(), &placed, "u1", points).await;
    }
    let preview = open_attempt(store.as_ref(), &placed, "preview").await;
    store.submit_attempt(Submission { deliver: false, ..submission(&preview, 10) }).await.unwrap();
    let due = lease(store.as_ref(), monday()).await;
    assert_eq!(due.len(), 1);
    assert_eq!(told(&due), [("u1", "graded", Some(9))]);
}

async fn a_lease_keeps_others_away_until_it_runs_out(store: Arc<dyn Storage>) {
    let placed = placement(store.as_ref(), "l1", 1).await;
    submit(store.as_ref(), &placed, "u1", 5).await;
    let first = lease(store.as_ref(), monday()).await;
    assert_eq!(lease(store.as_ref(), later(59_999)).await, []);
    assert_eq!(store.next_grade_due(&BTreeSet::new()).await.unwrap(), Some(later(60_000)));
    let second = lease(store.as_ref(), later(60_000)).await;
    assert!(second[0].timestamp > first[0].timestamp);
    // The first holder comes back late: what it says no longer counts.
    store
        .finish_grade(&first[0], &DeliveryOutcome::Parked { problem: "late".to_owned() }, later(60_000))
        .await
        .unwrap();
    assert_eq!(store.deliveries_at(&placed.id).await.unwrap()[0].state, DeliveryState::Waiting);
    store.leave(later(60_000)).await.unwrap();
    assert_eq!(lease(store.as_ref(), later(60_000)).await.len(), 1);
}

async fn sent_times_strictly_increase_whatever_the_clock_does(store: Arc<dyn Storage>) {
    let placed = placement(store.as_ref(), "l1", 1).await;
    submit(store.as_ref(), &placed, "u1", 5).await;
    let mut last = None;
    for now in [later(5_000), later(5_000), later(5_000), later(2_000), later(9_000)] {
        let leased = lease(store.as_ref(), now).await.pop().unwrap();
        assert!(last.is_none_or(|last| last < leased.timestamp), "{last:?} then {}", leased.timestamp);
        last = Some(leased.timestamp);
        let retry = DeliveryOutcome::Retry { at: monday(), problem: "busy".to_owned(), ahead_ms: None };
        store.finish_grade(&leased, &retry, now).await.unwrap();
    }
    assert_eq!(store.deliveries_at(&placed.id).await.unwrap()[0].tries, 5);
}

async fn messages_stay_dated_ahead_once_a_platform_refused_an_earlier_time(store: Arc<dyn Storage>) {
    let placed = placement(store.as_ref(), "l1", 1).await;
    submit(store.as_ref(), &placed, "u1", 5).await;
    let leased = lease(store.as_ref(), monday()).await.pop().unwrap();
    let problem = "a later score is known".to_owned();
    let retry = DeliveryOutcome::Retry { at: monday(), problem, ahead_ms: Some(60_000) };
    store.finish_grade(&leased, &retry, monday()).await.unwrap();
    // However long it waits for its turn.
    for waited_ms in [20_000, 500_000] {
        let leased = lease(store.as_ref(), later(waited_ms)).await.pop().unwrap();
        assert_eq!((leased.ahead_ms, leased.timestamp), (60_000, later(waited_ms + 60_000)));
        let postponed = DeliveryOutcome::Postponed { at: monday() };
        store.finish_grade(&leased, &postponed, later(waited_ms)).await.unwrap();
    }
}

async fn a_grade_queued_while_another_is_sent_is_sent_next(store: Arc<dyn Storage>) {
    let placed = placement(store.as_ref(), "l1", 2).await;
    submit(store.as_ref(), &placed, "u1", 5).await;
    let sending = lease(store.as_ref(), monday()).await.pop().unwrap();
    submit(store.as_ref(), &placed, "u1", 8).await;
    assert_eq!(lease(store.as_ref(), monday()).await, [], "one at a time for each pupil");
    store.finish_grade(&sending, &DeliveryOutcome::Delivered, monday()).await.unwrap();
    let next = lease(store.as_ref(), monday()).await.pop().unwrap();
    assert_eq!(next.progress.score(), Some(Score { points: 8, maximum: 10 }));
    store.finish_grade(&next, &DeliveryOutcome::Delivered, monday()).await.unwrap();
    assert_eq!(lease(store.as_ref(), later(1_000)).await, []);
    assert_eq!(store.next_grade_due(&BTreeSet::new()).await.unwrap(), None);
}

async fn the_queue_is_counted(store: Arc<dyn Storage>) {
    let placed = placement(store.as_ref(), "l1", 1).await;
    assert_eq!(store.delivery_queue().await.unwrap(), DeliveryQueue::default());
    for user in ["u1", "u2"] {
        submit(store.as_ref(), &placed, user, 5).await;
    }
    let leased = lease(store.as_ref(), monday()).await;
    let parked = DeliveryOutcome::Parked { problem: "closed".to_owned() };
    store.finish_grade(&leased[0], &parked, monday()).await.unwrap();
    let queue = store.delivery_queue().await.unwrap();
    assert_eq!(queue, DeliveryQueue { waiting: 1, parked: 1, held: 0, oldest: Some(monday()) });
    assert_eq!(store.send_again(&placed.id, None, &Change { at: later(1), ..change() }).await.unwrap(), 1);
    assert_eq!(store.delivery_queue().await.unwrap().waiting, 2);
}

async fn a_beginning_is_told_once_and_never_after_a_grade(store: Arc<dyn Storage>) {
    let placed = placement(store.as_ref(), "l1", 3).await;
    let announce = Announce::Begun { maximum: 10 };
    let first = start(store.as_ref(), &placed, "u1", announce).await;
    start(store.as_ref(), &placed, "u1", announce).await;
    start(store.as_ref(), &placed, "preview", Announce::Nothing).await;
    let begun = lease(store.as_ref(), monday()).await;
    assert_eq!(told(&begun), [("u1", "started", None)]);
    // Handed in while the beginning is on its way: the grade follows it.
    store.submit_attempt(submission(&first, 4)).await.unwrap();
    assert_eq!(lease(store.as_ref(), monday()).await, []);
    finish(store.as_ref(), &begun[0], DeliveryOutcome::Delivered).await;
    let graded = lease(store.as_ref(), monday()).await;
    assert_eq!(told(&graded), [("u1", "graded", Some(4))]);
    finish(store.as_ref(), &graded[0], DeliveryOutcome::Delivered).await;
    start(store.as_ref(), &placed, "u1", announce).await;
    assert_eq!(lease(store.as_ref(), later(1_000)).await, [], "a second beginning would clear the grade");
}

async fn an_unsent_beginning_gives_way_to_the_grade(store: Arc<dyn Storage>) {
    let placed = placement(store.as_ref(), "l1", 1).await;
    let first = start(store.as_ref(), &placed, "u1", Announce::Begun { maximum: 10 }).await;
    store.submit_attempt(submission(&first, 4)).await.unwrap();
    assert_eq!(told(&lease(store.as_ref(), monday()).await), [("u1", "graded", Some(4))]);
}

async fn a_worse_attempt_sends_nothing_again(store: Arc<dyn Storage>) {
    let placed = placement(store.as_ref(), "l1", 3).await;
    submit(store.as_ref(), &placed, "u1", 7).await;
    let sent = lease(store.as_ref(), monday()).await.pop().unwrap();
    finish(store.as_ref(), &sent, DeliveryOutcome::Delivered).await;
    submit(store.as_ref(), &placed, "u1", 5).await;
    assert_eq!(lease(store.as_ref(), later(1_000)).await, []);
    submit(store.as_ref(), &placed, "u1", 9).await;
    assert_eq!(told(&lease(store.as_ref(), later(1_000)).await), [("u1", "graded", Some(9))]);
}

async fn every_platform_gets_its_share_and_none_while_it_is_left_alone(store: Arc<dyn Storage>) {
    let placed = placement(store.as_ref(), "l1", 1).await;
    let other = store.put_registration(registration("c2"), &change()).await.unwrap();
    let link = LinkKey { registration: other.id, ..placed.quiz.link.clone() };
    let elsewhere = place(store.as_ref(), NewPlacement { link, ..placed.quiz.clone() }).await;
    for number in 0..30 {
        submit(store.as_ref(), &placed, &format!("u{number:02}"), 5).await;
    }
    submit(store.as_ref(), &elsewhere, "u1", 5).await;
    let this = placed.quiz.link.registration;
    assert_eq!(store.next_grade_due(&[this, other.id].into()).await.unwrap(), None);
    let alone = store.lease_grades(monday(), later(60_000), &room(&[this])).await.unwrap();
    assert_eq!(alone.iter().map(|grade| grade.registration).collect::<Vec<_>>(), [other.id]);
    let few = Room { each: 4, except: BTreeSet::new() };
    let due = store.lease_grades(monday(), later(60_000), &few).await.unwrap();
    assert_eq!(due.len(), 4);
    assert_eq!(store.next_grade_due(&[this].into()).await.unwrap(), Some(later(60_000)), "leased");
}

async fn what_may_stand_in_the_gradebook_is_remembered_until_it_is_confirmed(store: Arc<dyn Storage>) {
    let placed = placement(store.as_ref(), "l1", 5).await;
    let score = |points| Score { points, maximum: 10 };
    submit(store.as_ref(), &placed, "u1", 3).await;
    let sent = lease(store.as_ref(), monday()).await.pop().unwrap();
    finish(store.as_ref(), &sent, DeliveryOutcome::Delivered).await;
    for points in [4, 6] {
        submit(store.as_ref(), &placed, "u1", points).await;
        let lost = lease(store.as_ref(), later(i64::from(points))).await.pop().unwrap();
        let problem = "no answer".to_owned();
        let retry = DeliveryOutcome::Retry { at: monday(), problem, ahead_ms: None };
        finish(store.as_ref(), &lost, retry).await;
    }
    let cell = standing(store.as_ref(), &placed, "u1").await.cell;
    assert_eq!((cell.delivered, cell.ours), (Some(score(3)), vec![score(3), score(4), score(6)]));
    let sent = lease(store.as_ref(), later(60_000)).await.pop().unwrap();
    finish(store.as_ref(), &sent, DeliveryOutcome::Delivered).await;
    let cell = standing(store.as_ref(), &placed, "u1").await.cell;
    assert_eq!((cell.delivered, cell.ours), (Some(score(6)), vec![score(6)]));
}

async fn a_held_grade_waits_for_a_choice_that_is_noted(store: Arc<dyn Storage>) {
    let placed = placement(store.as_ref(), "l1", 3).await;
    let found = GradebookMark { points: 8.into(), maximum: 10.into() };
    let hold = async |points| {
        submit(store.as_ref(), &placed, "u1", points).await;
        let leased = lease(store.as_ref(), later(i64::from(points))).await.pop().unwrap();
        finish(store.as_ref(), &leased, DeliveryOutcome::Held { drift: Drift::Different, found }).await;
    };
    let settle = async |choice| store.settle(&placed.id, &"u1".into(), choice, &change()).await.unwrap();
    assert!(!settle(Choice::SendOurs).await, "nothing is held");
    hold(7).await;
    assert_eq!(store.delivery_queue().await.unwrap().held, 1);
    assert_eq!(lease(store.as_ref(), later(1_000)).await, []);
    assert!(settle(Choice::KeepTheirs).await);
    assert!(!settle(Choice::KeepTheirs).await, "once");
    assert_eq!(standing(store.as_ref(), &placed, "u1").await.state, DeliveryState::Kept);
    assert_eq!(lease(store.as_ref(), later(1_000)).await, []);
    assert!(settle(Choice::SendOurs).await, "after second thoughts");
    hold(9).await;
    assert!(settle(Choice::SendOurs).await);
    let cell = lease(store.as_ref(), later(1_000)).await.pop().unwrap().cell;
    assert_eq!((cell.overwrite, cell.found, cell.drift), (true, Some(found), Some(Drift::Different)));
    let query = AuditQuery { registration: None, placement: Some(placed.id.clone()), before: None, limit: 9 };
    let trail = store.audit(&query).await.unwrap();
    let noted: Vec<_> = trail.iter().map(|entry| (entry.action, entry.detail.as_str())).collect();
    assert_eq!(
        noted,
        [
            (Action::OwnGradeSent, "ours 9 of 10, in the gradebook 8 of 10"),
            (Action::OwnGradeSent, "ours 7 of 10, in the gradebook 8 of 10"),
            (Action::OtherMarkKept, "ours 7 of 10, in the gradebook 8 of 10"),
        ]
    );
}

async fn a_reading_is_noted_for_rows_that_have_not_changed_since(store: Arc<dyn Storage>) {
    let placed = placement(store.as_ref(), "l1", 3).await;
    for user in ["u1", "u2"] {
        submit(store.as_ref(), &placed, user, 7).await;
    }
    for leased in lease(store.as_ref(), monday()).await {
        finish(store.as_ref(), &leased, DeliveryOutcome::Delivered).await;
    }
    let due = async |now| store.placements_to_read(later(-1), now, 9).await.unwrap();
    assert_eq!(due(monday()).await, std::slice::from_ref(&placed.id));
    submit(store.as_ref(), &placed, "u2", 9).await;
    let found = GradebookMark { points: 5.into(), maximum: 10.into() };
    let finding = |user: &str| Finding {
        user: user.into(),
        version: 1,
        drift: Some(Drift::Different),
        found: Some(found),
    };
    let reading = Reading { placement: placed.id.clone(), at: later(5), problem: None };
    store.note_reading(&reading, &[finding("u1"), finding("u2")]).await.unwrap();
    assert_eq!(standing(store.as_ref(), &placed, "u1").await.cell.found, Some(found));
    assert_eq!(standing(store.as_ref(), &placed, "u2").await.cell.found, None, "queued anew meanwhile");
    assert_eq!(store.reading_of(&placed.id).await.unwrap(), Some(reading));
    assert_eq!(due(later(4)).await, [], "read since");
    assert_eq!(store.placements_to_read(later(1), later(9), 9).await.unwrap(), [], "nothing delivered since");
}

async fn deliveries_are_listed_by_placement_and_state_in_parts(store: Arc<dyn Storage>) {
    let placed = placement(store.as_ref(), "l1", 1).await;
    for user in ["u1", "u2", "u3"] {
        submit(store.as_ref(), &placed, user, 7).await;
    }
    let leased = lease(store.as_ref(), monday()).await;
    finish(store.as_ref(), &leased[1], DeliveryOutcome::Delivered).await;
    let users = async |query: DeliveryQuery| -> Vec<String> {
        store.deliveries(&query).await.unwrap().into_iter().map(|delivery| delivery.user.0).collect()
    };
    let query = DeliveryQuery { limit: 9, ..DeliveryQuery::default() };
    let waiting = DeliveryQuery { state: Some(DeliveryState::Waiting), ..query.clone() };
    assert_eq!(users(waiting).await, ["u1", "u3"]);
    assert_eq!(users(DeliveryQuery { placement: Some("none".into()), ..query.clone() }).await, [""; 0]);
    let after = Some((placed.id.clone(), "u1".into()));
    assert_eq!(users(DeliveryQuery { after, limit: 1, ..query }).await, ["u2"]);
}

async fn neighbours_are_the_other_placements_of_the_course(store: Arc<dyn Storage>) {
    let one = placement(store.as_ref(), "l1", 1).await;
    let two = placement(store.as_ref(), "l2", 1).await;
    let link = LinkKey { resource_link: "l3".into(), ..one.quiz.link.clone() };
    let elsewhere = NewPlacement { link, context: Some("other".into()), ..one.quiz.clone() };
    place(store.as_ref(), elsewhere).await;
    assert_eq!(store.neighbours(&one).await.unwrap(), [two]);
}

on_every_store! {
    the_best_grade_waits_and_previews_do_not
    a_lease_keeps_others_away_until_it_runs_out
    sent_times_strictly_increase_whatever_the_clock_does
    messages_stay_dated_ahead_once_a_platform_refused_an_earlier_time
    a_grade_queued_while_another_is_sent_is_sent_next
    the_queue_is_counted
    a_beginning_is_told_once_and_never_after_a_grade
    an_unsent_beginning_gives_way_to_the_grade
    a_worse_attempt_sends_nothing_again
    every_platform_gets_its_share_and_none_while_it_is_left_alone
    what_may_stand_in_the_gradebook_is_remembered_until_it_is_confirmed
    a_held_grade_waits_for_a_choice_that_is_noted
    a_reading_is_noted_for_rows_that_have_not_changed_since
    deliveries_are_listed_by_placement_and_state_in_parts
    neighbours_are_the_other_placements_of_the_course
}
