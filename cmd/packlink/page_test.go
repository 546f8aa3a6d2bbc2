package main

import (
	"net/http"
	"net/http/httptest"
	"sync/atomic"
	"testing"
	"time"

	"packlink/decode/bank"
	"packlink/decode/pack"
	"packlink/transport/feed"
)

// TestPageOfTheDemonstration opens the first page that anybody sees.
func TestPageOfTheDemonstration(t *testing.T) {
	t.Parallel()
	b := startBrowser(t)
	web, _ := runDemo(t)
	b.open(web, 1100)
	b.agrees()
	b.reads("boathouse", "2 of 2 packs heard", "pack 2: boats, address 2", "not a protection device")
	b.legible("wide")
	b.resize(360)
	b.fits(360)
	b.agrees()
	b.picture("phone")
	b.keyboard()
	b.clean(web)
}

// TestPageOfPacks lets packs say this and that, fall silent and speak again, and stops the
// bridge for a while. The page is never loaded again.
func TestPageOfPacks(t *testing.T) {
	t.Parallel()
	b := startBrowser(t)
	said := &packs{messages: make(map[string][]byte)}
	speaks := func(address byte) {
		said.terminals(address, -134, 0)
		said.cells(address, 5288)
		said.names(address, "<img src=x onerror=ran()>&amp;", "<script>ran()</script>")
	}
	speaks(1)
	speaks(2)
	web, again := said.bridge(t)
	b.open(web, 360)
	b.evaluate("window.loaded = 1", new(int))
	b.reads("locker\n", "2 of 2 packs heard", "52.88 V", "-26.8 A\ndischarging", "<img src=x onerror=ran()>&amp;, serial number <script>ran()</script>", "!alarm")
	b.agrees()

	said.terminals(1, 150, 3)
	said.cells(1, 5307)
	b.reads("locker: 2 alarms", "53.07 V", "15.0 A\ncharging", "warning: discharge overcurrent", "protection: cell overvoltage")
	b.agrees()
	b.fits(360)
	b.legible("alarms")
	said.terminals(1, 150, 0)
	said.cells(1, 6100)
	b.reads("!overcurrent", "61.00 V\ndoubtful", "doubtful: voltage, above the mapping's plausible range")

	said.says(1, 2)
	for id := range byte(3) {
		said.says(2, id+1)
	}
	b.reads("1 of 2 packs heard", "not heard for", "warning: communication lost", "overdue and not shown: voltage", "!61.00 V", "!52.88 V", "15.0 A\ncharging")
	b.agrees()
	b.legible("one-lost")
	said.says(1, 1)
	said.says(1, 3)
	b.reads("locker: no pack is heard", "last heard at", "!15.0 A")
	b.legible("all-lost")
	speaks(1)
	speaks(2)
	b.reads("2 of 2 packs heard", "!overdue", "!alarm")
	b.agrees()
	b.clean(web)

	again(func() {
		b.reads("locker: connection lost, trying again", "last heard at")
		b.legible("connection-lost")
		b.later(11)
		b.reads("connection lost", "!52.88 V", "!packs heard")
	})
	b.reads("2 of 2 packs heard", "52.88 V", "!lost")
	b.console = nil // each connection that was refused
	b.agrees()
	b.clean(web)
	var loaded int
	b.evaluate("window.loaded", &loaded)
	if loaded != 1 {
		t.Error("the page was loaded again")
	}
}

// TestPageOfAConnectionThatHangs wants no old values where nothing comes any more although no
// connection has ended, and that the page asks again. At first it is refused.
func TestPageOfAConnectionThatHangs(t *testing.T) {
	t.Parallel()
	var shows atomic.Pointer[feed.HTTP]
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if h := shows.Load(); h != nil {
			h.ServeHTTP(w, r)
		} else if r.URL.Path == "/v1/stream" {
			w.WriteHeader(http.StatusServiceUnavailable)
		} else {
			feed.NewHTTP().ServeHTTP(w, r)
		}
	}))
	t.Cleanup(server.Close)
	publish := func(centivolts int64) {
		now := time.Now().UnixNano()
		s := pack.Status{Time: now, Now: now, Source: "line", Fresh: true}
		s.SetNumber(pack.Voltage, pack.Decimal{Coef: centivolts, Exp: -2}, now)
		shows.Load().Publish(bank.Sum("locker", pack.Decimal{}, now, []pack.Status{s}), nil)
	}
	b := startBrowser(t)
	web := server.Listener.Addr().String()
	b.open(web, 360)
	b.reads("connection lost, trying again")
	shows.Store(feed.NewHTTP())
	b.reads("waiting for the first status")
	b.console = nil // each stream that was refused
	publish(5288)
	b.reads("1 of 1 pack heard", "52.88 V")
	shows.Store(feed.NewHTTP()) // the stream stays where nothing is said any more
	b.later(4)
	b.reads("connection lost, trying again")
	b.later(7)
	b.reads("connection lost, trying again", "!52.88 V")
	publish(5307)
	b.later(11)
	b.reads("1 of 1 pack heard", "53.07 V", "!lost")
	b.clean(web)
}
