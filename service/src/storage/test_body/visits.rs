//! What a pupil's request reads and writes in one step.

use futures_util::future::join_all;

use super::*;

fn session(placement: &Placement, id: &str, user: &str) -> SessionRecord {
    SessionRecord {
        id: Fingerprint::of(id),
        registration: placement.quiz.link.registration,
        deployment: "d1".into(),
        user: Some(user.into()),
        purpose: SessionPurpose::Quiz { placement: placement.id.clone(), preview: false },
        csrf: "csrf".to_owned(),
        return_origin: None,
        expires_at: later(1_000),
    }
}

async fn a_visit_brings_session_quiz_and_own_attempts(store: Arc<dyn Storage>) {
    let placed = placement(store.as_ref(), "l1", 2).await;
    let elsewhere = placement(store.as_ref(), "l2", 2).await;
    let known = session(&placed, "secret", "u1");
    open_session(store.as_ref(), known.clone(), None).await;
    let further = BTreeSet::from(["https://pages.example.org".to_owned()]);
    store.set_frame_origins(known.registration, &further, &change()).await.unwrap();
    let origins = ["https://pages.example.org", "https://platform.example.org"].map(str::to_owned).into();
    submit(store.as_ref(), &placed, "u1", 4).await;
    let open = open_attempt(store.as_ref(), &placed, "u1").await;
    let others = open_attempt(store.as_ref(), &placed, "u2").await;
    let of_other_quiz = open_attempt(store.as_ref(), &elsewhere, "u1").await;
    store.allow_attempt(&placed.id, &"u1".into(), 0, &change()).await.unwrap();

    let visit = async |session: &str, at: &PlacementId, attempts, now| {
        let session = Some(Fingerprint::of(session));
        store.visit(VisitAsked { session, placement: at.clone(), attempts, now }).await.unwrap()
    };
    let all = visit("secret", &placed.id, Asked::All, monday()).await;
    assert_eq!((all.session, all.placement), (Some(known.clone()), Some(placed.clone())));
    assert_eq!(*all.frames.unwrap().origins, origins);
    assert_eq!(all.extra_attempts, 1);
    assert_eq!(all.attempts.iter().map(|attempt| attempt.number).collect::<Vec<_>>(), [1, 2]);

    let one =
        async |id: &AttemptId| visit("secret", &placed.id, Asked::One(id.clone()), monday()).await.attempts;
    assert_eq!(one(&open.id).await, [open]);
    assert!(one(&others.id).await.is_empty(), "another pupil's");
    assert!(one(&of_other_quiz.id).await.is_empty(), "at another quiz");
    assert!(one(&"none".into()).await.is_empty());

    // Without a session nothing of anybody is told, but who may frame the refusal.
    for (id, at, now) in [("secret", &placed.id, later(1_000)), ("other", &placed.id, monday())] {
        let none = visit(id, at, Asked::All, now).await;
        assert_eq!((none.session, none.attempts.len(), none.extra_attempts), (None, 0, 0));
        assert_eq!(*none.frames.unwrap().origins, origins);
    }
    let nowhere = visit("secret", &"none".into(), Asked::All, monday()).await;
    assert_eq!((nowhere.session, nowhere.placement, nowhere.attempts.len()), (Some(known), None, 0));
    let nobody = VisitAsked { session: None, placement: "none".into(), attempts: Asked::All, now: monday() };
    assert_eq!(store.visit(nobody).await.unwrap(), Visit::default());
}

async fn handing_in_keeps_judges_and_closes_in_one_step(store: Arc<dyn Storage>) {
    let placed = placement(store.as_ref(), "l1", 2).await;
    let attempt = open_attempt(store.as_ref(), &placed, "u1").await;
    let typing = |seen: &str, text: &str| {
        let steps = [("total".to_owned(), text.to_owned())].into();
        Typing::from_page("a", seen, Responses::from([("q1".to_owned(), steps)]))
    };
    // The judge of these: one who asks to look again until the answer is 3.
    let judge: Judge = Arc::new(|attempt: &Attempt, kept: &Kept| {
        assert_eq!(attempt.number, 1);
        (kept.responses["q1"]["total"] == "3").then(|| submission(attempt, 8).result)
    });
    let hand_in = async |typing: Typing| {
        let Attempt { id: attempt, placement, user, .. } = attempt.clone();
        let judge = judge.clone();
        store
            .hand_in(HandIn { attempt, placement, user, typing, judge, deliver: true, at: monday() })
            .await
            .unwrap()
    };
    let HandedIn::Kept(kept) = hand_in(typing("0", "2")).await else { panic!("the judge stops it") };
    assert_eq!((kept.revision, kept.responses["q1"]["total"].as_str()), (1, "2"));
    assert_eq!(store.attempt(&attempt.id).await.unwrap().unwrap().responses, kept.responses);
    assert!(lease(store.as_ref(), monday()).await.is_empty());

    let HandedIn::Closed(closed) = hand_in(typing("1", "3")).await else { panic!("the judge is content") };
    assert_eq!((closed.revision, closed.result.as_ref().map(|result| result.points)), (2, Some(8)));
    assert_eq!(store.attempt(&attempt.id).await.unwrap(), Some(closed.clone()));
    assert_eq!(told(&lease(store.as_ref(), monday()).await), [("u1", "graded", Some(8))]);

    assert_eq!(hand_in(typing("2", "2")).await, HandedIn::NotOpen);
    assert_eq!(store.attempt(&attempt.id).await.unwrap(), Some(closed), "a closed one stays as it is");
}

/// So many that several go together in one statement.
const MANY: usize = 24;

async fn many_who_visit_and_hand_in_together_get_their_own(store: Arc<dyn Storage>) {
    let placed = placement(store.as_ref(), "l1", 3).await;
    let mut pupils = Vec::new();
    for number in 0..MANY {
        let user = format!("u{number}");
        open_session(store.as_ref(), session(&placed, &user, &user), None).await;
        if number % 3 == 0 {
            submit(store.as_ref(), &placed, &user, 2).await;
        }
        pupils.push(open_attempt(store.as_ref(), &placed, &user).await);
    }

    let visits = join_all(pupils.iter().enumerate().map(|(number, open)| {
        let attempts = if number % 2 == 0 { Asked::All } else { Asked::One(open.id.clone()) };
        let session = (number != 5).then(|| Fingerprint::of(open.user.as_str()));
        store.visit(VisitAsked { session, placement: placed.id.clone(), attempts, now: monday() })
    }));
    for (number, (visit, open)) in visits.await.into_iter().zip(&pupils).enumerate() {
        let visit = visit.unwrap();
        assert_eq!(visit.placement.as_ref(), Some(&placed));
        let user = visit.session.and_then(|session| session.user);
        assert_eq!(user.as_ref(), (number != 5).then_some(&open.user), "one came without a session");
        let numbers: Vec<u32> = visit.attempts.iter().map(|attempt| attempt.number).collect();
        match number {
            5 => assert!(numbers.is_empty()),
            number if number % 6 == 0 => assert_eq!(numbers, [1, 2], "in order"),
            _ => assert_eq!(visit.attempts, std::slice::from_ref(open)),
        }
    }

    // Every fourth has to look again; every fifth presses twice.
    let hand_in = |number: usize, open: &Attempt| {
        let answer = [("total".to_owned(), number.to_string())].into();
        let responses = Responses::from([("q1".to_owned(), answer)]);
        let judge: Judge = Arc::new(move |attempt, kept| {
            assert_eq!(kept.responses["q1"]["total"], number.to_string());
            (!number.is_multiple_of(4)).then(|| submission(attempt, 8).result)
        });
        let Attempt { id: attempt, placement, user, .. } = open.clone();
        let typing = Typing::from_page("a", "0", responses);
        store.hand_in(HandIn { attempt, placement, user, typing, judge, deliver: true, at: monday() })
    };
    let presses = pupils
        .iter()
        .enumerate()
        .flat_map(|(number, open)| std::iter::repeat_n((number, open), if number % 5 == 0 { 2 } else { 1 }));
    let presses: Vec<(usize, &Attempt)> = presses.collect();
    let outcomes = join_all(presses.iter().map(|(number, open)| hand_in(*number, open))).await;
    let mut closed = BTreeSet::new();
    for ((number, open), outcome) in presses.into_iter().zip(outcomes) {
        match outcome.unwrap() {
            HandedIn::Kept(kept) => assert_eq!((number % 4, kept.revision), (0, 1)),
            HandedIn::Closed(attempt) => {
                assert_eq!((&attempt.id, number % 4 != 0), (&open.id, true));
                assert!(closed.insert(number), "an attempt is closed once");
            }
            HandedIn::NotOpen => assert_eq!(number % 5, 0),
        }
    }
    assert_eq!(closed.len(), MANY - MANY / 4);
    let grades = store.deliveries_at(&placed.id).await.unwrap();
    for (number, open) in pupils.iter().enumerate() {
        let stored = store.attempt(&open.id).await.unwrap().unwrap();
        assert_eq!(stored.responses["q1"]["total"], number.to_string());
        assert_eq!(stored.result.is_some(), closed.contains(&number));
        let grade = grades.iter().find(|grade| grade.user == open.user);
        let points = grade.and_then(|grade| grade.progress.score()).map(|score| score.points);
        let earlier = (number % 3 == 0).then_some(2);
        assert_eq!(points, if number % 4 == 0 { earlier } else { Some(8) }, "pupil {number}");
    }
}

async fn many_who_log_in_together_are_each_remembered(store: Arc<dyn Storage>) {
    let registered = store.put_registration(registration("c1"), &change()).await.unwrap();
    let login = |number: usize| LoginState {
        storage: number
            .is_multiple_of(2)
            .then(|| PlatformStorage { target: "_parent".to_owned(), secret: Fingerprint::of("kept") }),
        ..login_state(registered.id, &format!("login {number}"))
    };
    store.add_login_state(login(0)).await.unwrap();
    // The first comes again, which is refused, and takes nobody along.
    let added = join_all((0..MANY).map(|number| store.add_login_state(login(number)))).await;
    let refused: Vec<usize> = (0..MANY).filter(|number| added[*number].is_err()).collect();
    assert_eq!(refused, [0]);
    let state = |number: usize| Fingerprint::of(&format!("login {number}"));
    let states: Vec<Fingerprint> = (0..=MANY).map(state).collect();
    let answered = join_all(states.iter().map(|state| store.answered_login(state, monday()))).await;
    for (number, answered) in answered.into_iter().enumerate() {
        let answered = answered.unwrap();
        assert_eq!(answered.is_some(), number < MANY);
        let Some(answered) = answered else { continue };
        assert_eq!(answered.seen, SeenLogin { login: login(number), open: true });
        assert_eq!(answered.registration, registered);
    }
    let issuers = ["https://platform.example.org", "https://nobody.example.org"];
    let known = join_all(issuers.iter().cycle().take(MANY).map(|issuer| store.known_platforms(issuer))).await;
    for (number, known) in known.into_iter().enumerate() {
        assert_eq!(known.unwrap().len(), usize::from(number % 2 == 0));
    }
}

on_every_store! {
    a_visit_brings_session_quiz_and_own_attempts
    handing_in_keeps_judges_and_closes_in_one_step
    many_who_visit_and_hand_in_together_get_their_own
    many_who_log_in_together_are_each_remembered
}
