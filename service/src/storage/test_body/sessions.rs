//! Login states, sessions, the tickets that hand them over, and who may frame them.

use super::*;

async fn a_login_state_is_taken_once(store: Arc<dyn Storage>) {
    let registered = store.put_registration(registration("c1"), &change()).await.unwrap();
    let state = |text: &str| login_state(registered.id, text);
    for text in ["one", "old"] {
        store.add_login_state(state(text)).await.unwrap();
    }
    let take = |text: &'static str, now| {
        let store = store.clone();
        async move { store.take_login_state(&Fingerprint::of(text), now).await.unwrap() }
    };
    let (first, second) = tokio::join!(take("one", monday()), take("one", monday()));
    assert!(
        matches!(
            (&first, &second),
            (TakenState::Fresh(_), TakenState::Used) | (TakenState::Used, TakenState::Fresh(_))
        ),
        "{first:?} {second:?}"
    );
    assert_eq!(take("old", later(1_000)).await, TakenState::Expired);
    assert_eq!(take("old", monday()).await, TakenState::Used, "an expired one is used up too");
    assert_eq!(take("none", monday()).await, TakenState::Unknown);
    let reused = LoginState { state: Fingerprint::of("other"), ..state("one") };
    assert!(store.add_login_state(reused).await.is_err(), "a nonce is never used twice");
    assert_eq!(store.purge_expired(later(2_000)).await.unwrap(), 2);
}

async fn a_session_lives_until_it_ends(store: Arc<dyn Storage>) {
    let registered = store.put_registration(registration("c1"), &change()).await.unwrap();
    let session = SessionRecord {
        id: Fingerprint::of("secret"),
        registration: registered.id,
        deployment: "d1".into(),
        user: Some("u1".into()),
        purpose: SessionPurpose::Quiz { placement: "q1".into(), preview: true },
        csrf: "csrf".to_owned(),
        return_origin: Some("https://pages.platform.example.org".to_owned()),
        expires_at: later(1_000),
    };
    open_session(store.as_ref(), session.clone(), None).await;
    assert_eq!(store.session(&session.id, later(999)).await.unwrap(), Some(session.clone()));
    assert_eq!(store.session(&session.id, later(1_000)).await.unwrap(), None);
    assert_eq!(store.session(&Fingerprint::of("other"), monday()).await.unwrap(), None);
}

async fn looking_at_a_login_does_not_use_it(store: Arc<dyn Storage>) {
    let registered = store.put_registration(registration("c1"), &change()).await.unwrap();
    let login = LoginState {
        state: Fingerprint::of("state"),
        nonce: "nonce".to_owned(),
        registration: registered.id,
        target_link_uri: "https://tool.example.org/".to_owned(),
        deployment_hint: None,
        browser: Fingerprint::of("browser"),
        storage: Some(PlatformStorage { target: "_parent".to_owned(), secret: Fingerprint::of("kept") }),
        expires_at: later(1_000),
    };
    store.add_login_state(login.clone()).await.unwrap();
    let seen = async |now| store.answered_login(&login.state, now).await.unwrap().map(|login| login.seen);
    assert_eq!(seen(monday()).await, Some(SeenLogin { login: login.clone(), open: true }));
    assert_eq!(seen(later(1_000)).await, Some(SeenLogin { login: login.clone(), open: false }));
    let taken = store.take_login_state(&login.state, monday()).await.unwrap();
    assert_eq!(taken, TakenState::Fresh(login.clone()));
    assert_eq!(seen(monday()).await, Some(SeenLogin { login: login.clone(), open: false }));
    assert_eq!(store.answered_login(&Fingerprint::of("none"), monday()).await.unwrap(), None);
}

async fn further_origins_of_frames_are_replaced_and_noted(store: Arc<dyn Storage>) {
    let known = store.put_registration(registration("c1"), &change()).await.unwrap();
    assert!(store.frame_origins(known.id).await.unwrap().is_empty());
    let of = |names: &[&str]| names.iter().map(|name| format!("https://{name}.example.org")).collect();
    for origins in [of(&["a", "b"]), of(&["b", "c"]), of(&["b", "c"])] {
        store.set_frame_origins(known.id, &origins, &change()).await.unwrap();
        assert_eq!(store.frame_origins(known.id).await.unwrap(), origins);
    }
    let all = AuditQuery { registration: Some(known.id), placement: None, before: None, limit: 10 };
    let trail = store.audit(&all).await.unwrap();
    let noted: Vec<_> = trail.iter().filter(|entry| entry.action == Action::FrameOriginsChanged).collect();
    assert_eq!(noted.len(), 2, "the same once more changes nothing, and is not noted");
    assert_eq!(noted[0].detail, "https://b.example.org https://c.example.org");
}

async fn a_ticket_hands_a_session_over_once(store: Arc<dyn Storage>) {
    let registered = store.put_registration(registration("c1"), &change()).await.unwrap();
    let session = |id: &str| SessionRecord {
        id: Fingerprint::of(id),
        registration: registered.id,
        deployment: "d1".into(),
        user: Some("u1".into()),
        purpose: SessionPurpose::Class { placement: "q1".into() },
        csrf: "csrf".to_owned(),
        return_origin: None,
        expires_at: later(100_000),
    };
    for name in ["one", "late"] {
        let ticket = SessionTicket {
            ticket: Fingerprint::of(&format!("ticket {name}")),
            session: session(name).id,
            expires_at: later(1_000),
        };
        open_session(store.as_ref(), session(name), Some(ticket)).await;
    }
    let redeem = |ticket: &'static str, id: &'static str, now| {
        let store = store.clone();
        async move {
            store.redeem_session_ticket(&Fingerprint::of(ticket), &Fingerprint::of(id), now).await.unwrap()
        }
    };
    let (first, second) =
        tokio::join!(redeem("ticket one", "window 1", monday()), redeem("ticket one", "window 2", monday()));
    let (window, handed_over) = match (&first, &second) {
        (Some(session), None) => ("window 1", session),
        (None, Some(session)) => ("window 2", session),
        other => panic!("one of both gets the session, not {other:?}"),
    };
    assert_eq!(*handed_over, session(window));
    assert_eq!(store.session(&session("one").id, monday()).await.unwrap(), None, "it has moved");
    assert_eq!(store.session(&session(window).id, monday()).await.unwrap(), Some(session(window)));
    assert_eq!(redeem("ticket late", "window 3", later(1_000)).await, None, "at its end it is too late");
    assert_eq!(redeem("none", "window 4", monday()).await, None);
}

on_every_store! {
    a_login_state_is_taken_once
    a_session_lives_until_it_ends
    looking_at_a_login_does_not_use_it
    further_origins_of_frames_are_replaced_and_noted
    a_ticket_hands_a_session_over_once
}
