package rpc

import (
	"strconv"
	"sync"
	"time"

	"golang.org/x/time/rate"
	"google.golang.org/grpc/codes"

	"lotwright/server/store"
)

// rates bound how often each tenant calls.
type rates struct {
	limits Limits
	now    func() time.Time

	mu       sync.Mutex
	byTenant map[store.Tenant]*rate.Limiter
}

func newRates(l Limits) *rates {
	return &rates{limits: l, now: time.Now, byTenant: map[store.Tenant]*rate.Limiter{}}
}

// take is an error for a call that comes too early, which says when it would not.
func (r *rates) take(t store.Tenant) error {
	now := r.now()
	place := r.of(t, now).ReserveN(now, 1)
	wait := place.DelayFrom(now)
	if wait == 0 {
		return nil
	}
	place.CancelAt(now)
	f := faultf(codes.ResourceExhausted, reasonBusy, "more than %v calls a second, %d at once (limits Rate and Burst)", r.limits.Rate, r.limits.Burst)
	f.about = map[string]string{aboutLimit: "Rate", aboutMost: strconv.Itoa(r.limits.Burst)}
	f.retry = wait
	return f
}

// mostIdleRates is how many tenants are remembered before those are forgotten
// that have not called for so long that it makes no difference.
const mostIdleRates = 1000

func (r *rates) of(t store.Tenant, now time.Time) *rate.Limiter {
	r.mu.Lock()
	defer r.mu.Unlock()
	if l := r.byTenant[t]; l != nil {
		return l
	}
	if len(r.byTenant) >= mostIdleRates {
		for t, l := range r.byTenant {
			if l.TokensAt(now) >= float64(r.limits.Burst) {
				delete(r.byTenant, t)
			}
		}
	}
	l := rate.NewLimiter(rate.Limit(r.limits.Rate), r.limits.Burst)
	r.byTenant[t] = l
	return l
}

// quotaWait is when a tenant whose runs are at their quota should come back.
const quotaWait = time.Minute

// overQuota names the limit by its field in [Limits].
func overQuota(e *store.QuotaError) *fault {
	limit := string(e.Asset)
	if e.Asset == store.AssetLots {
		limit = "Stored"
	}
	f := faultf(codes.ResourceExhausted, reasonQuota, "%v (limit %s)", e, limit)
	f.about = map[string]string{aboutLimit: limit, aboutMost: strconv.Itoa(e.Most)}
	if e.Asset == store.AssetRunning {
		f.retry = quotaWait
	}
	return f
}
