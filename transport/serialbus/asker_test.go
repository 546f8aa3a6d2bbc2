package serialbus

import (
	"bytes"
	"context"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"packlink/transport"
)

// bang is an ear for which an answer ends in an exclamation mark, but for the
// question's own.
type bang struct {
	mu    sync.Mutex
	asked []int
	lost  int
}

func (b *bang) Asked(question int) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.asked = append(b.asked, question)
}
func (b *bang) Heard(data []byte) bool { return bytes.HasSuffix(data, []byte("!")) }
func (b *bang) Lost()                  { b.lost++ }

// askerBus asks in memory and writes down what is asked.
type askerBus struct {
	*follower
	link  *fakeLink
	ear   *bang
	begun time.Time
	mu    sync.Mutex
	log   []asking
	dials int
}

// startAsker begins to ask over a fake line; it must be called in a bubble.
func startAsker(t *testing.T, plan QuestionPlan, does func(b *askerBus, n int, sent []byte)) *askerBus {
	t.Helper()
	place, err := readPlace(endpoint(t, "serial:/dev/x"), true)
	if err != nil {
		t.Fatal(err)
	}
	how, err := readPolicy(place, &Plan{Timeout: plan.Timeout, Quiet: plan.Quiet})
	if err != nil {
		t.Fatal(err)
	}
	b := &askerBus{follower: newFollower(), ear: &bang{}, begun: time.Now()}
	plan.Ear = b.ear
	asked := func(sent []byte) {
		b.mu.Lock()
		n := len(b.log)
		b.log = append(b.log, asking{time.Since(b.begun), sent})
		b.mu.Unlock()
		does(b, n, sent)
	}
	dial := func(context.Context) (link, error) {
		b.dials++
		b.link = newFakeLink(asked)
		return b.link, nil
	}
	a, err := openAsker(context.Background(), place, how, plan, dial, b.report)
	if err != nil {
		t.Fatal(err)
	}
	b.follow(t, a)
	return b
}

// times are when a question was asked, by its bytes.
func (b *askerBus) times(sent string) (all []time.Duration) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, a := range b.log {
		if string(a.frame) == sent {
			all = append(all, a.at)
		}
	}
	return all
}

func (b *askerBus) heard() (all []heardFrame) {
	for {
		select {
		case f := <-b.frames:
			all = append(all, f)
		default:
			return all
		}
	}
}

func twoPacks() QuestionPlan {
	return QuestionPlan{Timeout: 200 * time.Millisecond, Quiet: 20 * time.Millisecond, Questions: []Question{
		{Pack: "pack 1", Sent: []byte("one?"), Every: time.Second},
		{Pack: "pack 2", Sent: []byte("two?"), Every: time.Second},
	}}
}

// TestQuestionsTakeTurns asks two packs that answer in two pieces: each once a
// second, one after the other, and everything is handed over.
func TestQuestionsTakeTurns(t *testing.T) {
	bubble(t, func(t *testing.T) {
		b := startAsker(t, twoPacks(), func(b *askerBus, n int, sent []byte) {
			b.link.put(10*time.Millisecond, []byte("ans"))
			b.link.put(30*time.Millisecond, []byte("wer!"))
		})
		time.Sleep(10*time.Second + 100*time.Millisecond)
		synctest.Wait()
		for _, sent := range []string{"one?", "two?"} {
			if n := len(b.times(sent)); n < 10 || n > 12 {
				t.Errorf("%s was asked %d times in 10 seconds", sent, n)
			}
		}
		for i, a := range b.log[1:] {
			if gap := a.at - b.log[i].at; gap < 50*time.Millisecond {
				t.Errorf("question %d went %v behind the one before: its answer takes 30 ms, and 20 ms must be quiet", i+2, gap)
			}
		}
		var all []byte
		for _, f := range b.heard() {
			if (f.Direction == transport.Sent) != bytes.HasSuffix(f.data, []byte("?")) || f.Flags != 0 || f.Medium != transport.Serial {
				t.Errorf("%q is handed over as %+v", f.data, f.Frame)
			}
			all = append(all, f.data...)
		}
		if !bytes.HasPrefix(all, []byte("one?answer!two?answer!")) || !slices.Equal(b.ear.asked[:2], []int{0, 1}) {
			t.Errorf("handed over %q, asked %v", all, b.ear.asked)
		}
	})
}

// TestSilentPackDelaysNobody has one pack silent: it is asked ever more rarely and
// reported once, until it answers again.
func TestSilentPackDelaysNobody(t *testing.T) {
	bubble(t, func(t *testing.T) {
		var talks sync.Map
		b := startAsker(t, twoPacks(), func(b *askerBus, n int, sent []byte) {
			if _, yes := talks.Load("two"); yes || sent[0] == 'o' {
				b.link.put(10*time.Millisecond, []byte("answer!"))
			}
		})
		time.Sleep(5 * time.Minute)
		synctest.Wait()
		if n := len(b.times("one?")); n < 290 {
			t.Errorf("the living pack was asked %d times in 5 minutes", n)
		}
		if n := len(b.times("two?")); n < 10 || n > 22 || b.saw(EventSilent) != 1 {
			t.Errorf("the silent pack was asked %d times and reported %d times", n, b.saw(EventSilent))
		}
		talks.Store("two", true)
		time.Sleep(time.Minute)
		synctest.Wait()
		if b.saw(EventAnswering) != 1 {
			t.Errorf("its return was reported %d times", b.saw(EventAnswering))
		}
	})
}

// TestUnclearAnswerIsAskedAgain has the first answers come to nothing; the question
// is repeated twice and then waits for its next turn.
func TestUnclearAnswerIsAskedAgain(t *testing.T) {
	bubble(t, func(t *testing.T) {
		plan := twoPacks()
		plan.Questions = plan.Questions[:1]
		plan.Questions[0].Every = 5 * time.Second
		b := startAsker(t, plan, func(b *askerBus, n int, sent []byte) { b.link.put(10*time.Millisecond, []byte("answ")) })
		time.Sleep(4 * time.Second)
		synctest.Wait()
		if n := len(b.log); n != 3 || b.saw(EventSilent) != 0 {
			t.Errorf("asked %d times, and called silent %d times", n, b.saw(EventSilent))
		}
	})
}

// TestEchoIsNoAnswer has an adapter that hears its own questions: the answer may
// take its whole time all the same.
func TestEchoIsNoAnswer(t *testing.T) {
	bubble(t, func(t *testing.T) {
		plan := twoPacks()
		plan.Questions = plan.Questions[:1]
		b := startAsker(t, plan, func(b *askerBus, n int, sent []byte) {
			b.link.put(time.Millisecond, sent[:2])
			b.link.put(2*time.Millisecond, sent[2:])
			b.link.put(150*time.Millisecond, []byte("answer!"))
		})
		time.Sleep(10*time.Second + 500*time.Millisecond)
		synctest.Wait()
		if n := len(b.log); n < 10 || n > 12 {
			t.Errorf("asked %d times in 10 seconds, want 11", n)
		}
	})
}

// TestLostLineAsksAgain pulls the line out: it is opened again, everything is due,
// and the first frame says that some may be missing.
func TestLostLineAsksAgain(t *testing.T) {
	bubble(t, func(t *testing.T) {
		b := startAsker(t, twoPacks(), func(b *askerBus, n int, sent []byte) {
			if n == 3 {
				b.link.put(time.Millisecond, nil)
				return
			}
			b.link.put(10*time.Millisecond, []byte("answer!"))
		})
		time.Sleep(10 * time.Second)
		synctest.Wait()
		flagged := 0
		for _, f := range b.heard() {
			if f.Flags&transport.Lost != 0 {
				flagged++
			}
		}
		if b.dials != 2 || flagged != 1 || b.ear.lost != 1 || b.saw(EventGone) != 1 || b.saw(EventBack) != 1 {
			t.Errorf("opened %d times, %d frames say that some are missing, %d losses, reported %d and %d times",
				b.dials, flagged, b.ear.lost, b.saw(EventGone), b.saw(EventBack))
		}
		if n := len(b.times("one?")); n < 9 {
			t.Errorf("asked %d times in 10 seconds", n)
		}
	})
}

// TestBabbleEndsTheWait has somebody talk without end: the question goes once more
// all the same.
func TestBabbleEndsTheWait(t *testing.T) {
	bubble(t, func(t *testing.T) {
		b := startAsker(t, twoPacks(), func(*askerBus, int, []byte) {})
		for i := range 6000 {
			b.link.put(time.Duration(i)*10*time.Millisecond, []byte{'x'})
		}
		time.Sleep(time.Minute)
		synctest.Wait()
		if n := len(b.log); n < 8 {
			t.Errorf("asked %d times in a minute of babble", n)
		}
	})
}

// TestQuestionPlansRefused holds what cannot be asked.
func TestQuestionPlansRefused(t *testing.T) {
	good := twoPacks()
	for name, c := range map[string]struct {
		at   string
		plan QuestionPlan
	}{
		"no question":    {"serial:/dev/null", QuestionPlan{}},
		"no bytes":       {"serial:/dev/null", QuestionPlan{Questions: []Question{{Pack: "pack 1", Every: time.Second}}}},
		"no period":      {"serial:/dev/null", QuestionPlan{Questions: []Question{{Pack: "pack 1", Sent: []byte{1}}}}},
		"Modbus/TCP":     {"modbus-tcp:127.0.0.1:502", good},
		"registers":      {"serial:/dev/null?registers=4", good},
		"another scheme": {"can:can0", good},
		"a bad time-out": {"serial:/dev/null?timeout=soon", good},
	} {
		if _, err := TransmitQuestions(background(t), endpoint(t, c.at), c.plan, nil); err == nil {
			t.Errorf("%s is taken", name)
		}
	}
}

// TestUnansweredQuestionDelaysNoOther has one question of a pack unanswered, as packs
// leave some unanswered that do not know them: it is asked ever more rarely, and the
// pack's other questions at their period.
func TestUnansweredQuestionDelaysNoOther(t *testing.T) {
	bubble(t, func(t *testing.T) {
		plan := QuestionPlan{Timeout: 200 * time.Millisecond, Quiet: 20 * time.Millisecond, Questions: []Question{
			{Pack: "pack 1", Sent: []byte("how?"), Every: time.Second},
			{Pack: "pack 1", Name: "identity", Sent: []byte("who?"), Every: time.Second},
		}}
		b := startAsker(t, plan, func(b *askerBus, n int, sent []byte) {
			if string(sent) == "how?" || time.Since(b.begun) > 50*time.Second {
				b.link.put(10*time.Millisecond, []byte("well!"))
			}
		})
		time.Sleep(50 * time.Second)
		synctest.Wait()
		if n := len(b.times("how?")); n < 40 {
			t.Errorf("the answered question was asked %d times in 50 seconds", n)
		}
		if n := len(b.times("who?")); n < 5 || n > 30 {
			t.Errorf("the unanswered question was asked %d times in 50 seconds", n)
		}
		time.Sleep(70 * time.Second)
		synctest.Wait()
		if lost, back, silent := b.saw(EventWithheld), b.saw(EventGiven), b.saw(EventSilent); lost != 1 || back != 1 || silent != 0 {
			t.Errorf("told %d times of its loss, %d of its return, %d of a silent pack", lost, back, silent)
		}
		for _, e := range b.events {
			if !strings.Contains(e.String(), `the question for "identity"`) {
				t.Errorf("an event does not name the question: %s", e)
			}
		}
	})
}
