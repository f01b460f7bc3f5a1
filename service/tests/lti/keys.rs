//! Our key set, as platforms read it: Security Framework section 6.

use base64::{Engine, engine::general_purpose::URL_SAFE_NO_PAD};
use reqwest::header::CACHE_CONTROL;
use serde_json::Value;

use crate::tool::Tool;

#[tokio::test(flavor = "multi_thread")]
async fn the_key_set_holds_public_members_of_strong_keys_and_says_how_long_it_may_be_kept() {
    let tool = Tool::start().await;
    let answer = tool.client.get(format!("{}/lti/keys", tool.url)).send().await.unwrap();
    assert_eq!(answer.status(), 200);
    assert_eq!(answer.headers()[CACHE_CONTROL], "public, max-age=600");
    let set: Value = answer.json().await.unwrap();
    let [key] = set["keys"].as_array().unwrap().as_slice() else { panic!("one platform, one key: {set}") };
    let mut members: Vec<&String> = key.as_object().unwrap().keys().collect();
    members.sort();
    assert_eq!(members, ["alg", "e", "kid", "kty", "n", "use"]);
    assert_eq!((&key["kty"], &key["alg"], &key["use"]), (&"RSA".into(), &"RS256".into(), &"sig".into()));
    let modulus = URL_SAFE_NO_PAD.decode(key["n"].as_str().unwrap()).unwrap();
    assert!(modulus.len() >= 256 && modulus[0] >= 0x80, "at least 2048 bits");
}
