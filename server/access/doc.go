// Package access finds out who makes a call: by an API key, or by a token that
// an OpenID Connect issuer has signed. The answer, a [Caller], travels in the
// context, and everything that is kept belongs to the tenant of one.
//
// Keys are 256 random bits, so what is kept of them is their plain SHA-256:
// nothing can be guessed that a slow hash would have to hold up, and every call
// is checked in microseconds.
package access
