package cli

import (
	"fmt"
	"time"

	"lotwright/server/access"
	"lotwright/server/rpc"
	"lotwright/server/store"
)

// accessFlags say who may call a service, and how what is said is kept from
// others.
type accessFlags struct {
	TLSCertificate string `name:"tls-certificate" type:"existingfile" placeholder:"FILE" help:"Certificate with its chain (PEM), for both addresses. It is read again when it changes." group:"Callers:"`
	TLSKey         string `name:"tls-key" type:"existingfile" placeholder:"FILE" help:"Its key (PEM)." group:"Callers:"`
	ClientCA       string `name:"client-ca" type:"existingfile" placeholder:"FILE" help:"Let only clients in that have a certificate signed by one of these (PEM). Keys or tokens are asked for all the same." group:"Callers:"`
	Keys           string `type:"path" placeholder:"FILE" help:"Know callers by API keys: the file that lotwright keys writes. What it changes there holds at once." group:"Callers:"`
	OIDCIssuer     string `name:"oidc-issuer" placeholder:"URL" help:"Know callers by tokens of this OpenID Connect issuer, which is asked for its keys." group:"Callers:"`
	OIDCAudience   string `name:"oidc-audience" placeholder:"NAME" help:"For whom tokens must be made out." group:"Callers:"`
	OIDCTenant     string `name:"oidc-tenant-claim" default:"tenant" placeholder:"NAME" help:"The claim that names the tenant: lower-case letters, digits and dashes." group:"Callers:"`
	AuditLog       string `name:"audit-log" type:"path" placeholder:"FILE" help:"Add a line of JSON to this file for every call: who, what, about which resource, outcome, when. Bodies, keys and tokens stand in it nowhere." group:"Callers:"`
}

// check says what is missing for the addresses to be listened on.
func (f accessFlags) check(addresses ...listenAddress) error {
	encrypted, known := f.TLSCertificate != "", f.Keys != "" || f.OIDCIssuer != ""
	switch {
	case encrypted != (f.TLSKey != ""):
		return usagef("--tls-certificate and --tls-key belong together")
	case f.ClientCA != "" && !encrypted:
		return usagef("--client-ca needs --tls-certificate and --tls-key")
	case (f.OIDCIssuer == "") != (f.OIDCAudience == ""):
		return usagef("--oidc-issuer and --oidc-audience belong together")
	}
	for _, a := range addresses {
		switch {
		case a.loopback() || encrypted && known:
		case !encrypted:
			return usagef("%s: other machines can reach this address, and what is said there could be read on the way: it needs --tls-certificate and --tls-key", a)
		default:
			return usagef("%s: other machines can reach this address, and the service would answer anybody: it needs --keys or --oidc-issuer", a)
		}
	}
	return nil
}

// secure puts what the flags say into the options.
func (f accessFlags) secure(o *rpc.Options) error {
	checker := &access.Checker{}
	var err error
	if f.Keys != "" {
		if checker.Keys, err = access.OpenKeys(f.Keys, time.Now, o.Log); err != nil {
			return err
		}
	}
	if f.OIDCIssuer != "" {
		checker.Issuer, err = access.NewIssuer(access.IssuerOptions{URL: f.OIDCIssuer, Audience: f.OIDCAudience, Claim: f.OIDCTenant, Now: time.Now, Log: o.Log})
		if err != nil {
			return usageError{err}
		}
	}
	if *checker != (access.Checker{}) {
		o.Callers = checker
	}
	if f.TLSCertificate == "" {
		return nil
	}
	certificate, err := access.OpenCertificate(f.TLSCertificate, f.TLSKey, o.Log)
	if err != nil {
		return err
	}
	o.TLS, err = certificate.Config(f.ClientCA)
	return err
}

// keysCommand keeps the file of keys.
type keysCommand struct {
	Add    addKeyCommand    `cmd:"" help:"Make a key and show it, this once."`
	List   listKeysCommand  `cmd:"" help:"List the keys; none of them can be seen again."`
	Revoke revokeKeyCommand `cmd:"" help:"End a key for good."`
}

// Help is shown below the summary by keys --help.
func (keysCommand) Help() string {
	return `A key stands for a tenant: whoever sends it sees and changes what belongs to that tenant, and nothing else. It is sent as Authorization: Bearer KEY. The file keeps its SHA-256 only. What was made without keys belongs to the tenant "local".

Example:

    lotwright keys add --keys keys.json --tenant elm-gardens`
}

// keysFileFlag names the file of keys.
type keysFileFlag struct {
	Keys string `required:"" type:"path" placeholder:"FILE" help:"The file of keys that lotwright serve --keys is given."`
}

// addKeyCommand makes a key.
type addKeyCommand struct {
	keysFileFlag
	Tenant   string        `required:"" placeholder:"NAME" help:"To whom what is made with the key belongs: 1 to 63 lower-case letters, digits and dashes."`
	Note     string        `placeholder:"TEXT" help:"What the key is for."`
	ValidFor time.Duration `placeholder:"2160h" help:"How long the key is accepted; without it, until it is revoked."`
}

// Run makes the key. Only the key is written to standard output.
func (a *addKeyCommand) Run(c *console) error {
	if err := access.CheckTenant(a.Tenant); err != nil {
		return usageError{err}
	}
	if a.ValidFor < 0 {
		return usagef("--valid-for: got %v, want a time to come", a.ValidFor)
	}
	now, expires := time.Now(), time.Time{}
	if a.ValidFor > 0 {
		expires = now.Add(a.ValidFor)
	}
	secret, key, err := access.Add(a.Keys, store.Tenant(a.Tenant), a.Note, now, expires)
	if err != nil {
		return err
	}
	fmt.Fprintf(c.err, "key %s of tenant %s; it is shown this once:\n", key.ID, key.Tenant)
	_, err = fmt.Fprintln(c.out, secret)
	return err
}

// listKeysCommand lists keys.
type listKeysCommand struct{ keysFileFlag }

// Run writes a key a line: id, tenant, state, when it was made, note.
func (l *listKeysCommand) Run(c *console) error {
	list, err := access.ReadKeys(l.Keys)
	if err != nil {
		return err
	}
	for _, k := range list {
		if _, err := fmt.Fprintf(c.out, "%s\t%s\t%s\t%s\t%q\n", k.ID, k.Tenant, stateOf(k, time.Now()), k.Created.Format(time.RFC3339), k.Note); err != nil {
			return err
		}
	}
	return nil
}

func stateOf(k access.Key, now time.Time) string {
	switch {
	case !k.Revoked.IsZero():
		return "revoked " + k.Revoked.Format(time.RFC3339)
	case !k.Usable(now):
		return "expired " + k.Expires.Format(time.RFC3339)
	case !k.Expires.IsZero():
		return "until " + k.Expires.Format(time.RFC3339)
	}
	return "valid"
}

// revokeKeyCommand ends a key.
type revokeKeyCommand struct {
	keysFileFlag
	ID string `arg:"" help:"The key's id, as listed."`
}

// Run ends the key.
func (r *revokeKeyCommand) Run(c *console) error {
	key, err := access.Revoke(r.Keys, r.ID, time.Now())
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(c.err, "key %s of tenant %s is not accepted any more\n", key.ID, key.Tenant)
	return err
}
