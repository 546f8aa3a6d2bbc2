package main

import (
	"bufio"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// browser is a headless Chromium with one page, driven over the Chrome DevTools
// Protocol: JSON messages on two pipes, each ended by a zero byte.
type browser struct {
	*testing.T
	to      *os.File
	from    *os.File
	read    *bufio.Reader
	last    int
	session string

	requests []string // the addresses that the page has asked for
	console  []string // what the page and the browser had to say of it
}

// devtools is a message of the protocol: a command, its answer, or an event.
type devtools struct {
	ID      int             `json:"id,omitempty"`
	Session string          `json:"sessionId,omitempty"`
	Method  string          `json:"method,omitempty"`
	Params  json.RawMessage `json:"params,omitempty"`
	Result  json.RawMessage `json:"result,omitempty"`
	Error   json.RawMessage `json:"error,omitempty"`
}

type object = map[string]any

// startBrowser opens a page that is empty. No name is resolved, and nothing is asked of
// the network but what the page asks for.
func startBrowser(t *testing.T) *browser {
	needPeer(t, "chromium")
	theirs, to, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	from, answers, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	b := &browser{T: t, to: to, from: from, read: bufio.NewReader(from)}
	cmd := exec.Command("chromium", "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
		"--disable-background-networking", "--disable-component-update", "--disable-sync", "--disable-dev-shm-usage",
		"--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1", "--user-data-dir="+t.TempDir(), "--remote-debugging-pipe")
	cmd.ExtraFiles = []*os.File{theirs, answers} // descriptors 3 and 4
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	theirs.Close()
	answers.Close()
	t.Cleanup(func() {
		to.Close() // so it ends
		_ = cmd.Wait()
		from.Close()
	})
	b.attach()
	return b
}

// attach opens the page and asks for its events.
func (b *browser) attach() {
	var target struct{ TargetID string }
	b.call("Target.createTarget", object{"url": "about:blank"}, &target)
	var attached struct{ SessionID string }
	b.call("Target.attachToTarget", object{"targetId": target.TargetID, "flatten": true}, &attached)
	b.session = attached.SessionID
	for _, domain := range []string{"Page", "Runtime", "Log", "Network"} {
		b.call(domain+".enable", nil, &object{})
	}
}

// call gives a command, and waits for its answer and what happened before that.
func (b *browser) call(method string, params object, result any) {
	b.Helper()
	b.last++
	given, _ := json.Marshal(params)
	command, _ := json.Marshal(devtools{ID: b.last, Session: b.session, Method: method, Params: given})
	if _, err := b.to.Write(append(command, 0)); err != nil {
		b.Fatalf("%s: %v", method, err)
	}
	_ = b.from.SetReadDeadline(time.Now().Add(30 * time.Second))
	for {
		text, err := b.read.ReadBytes(0)
		if err != nil {
			b.Fatalf("%s: %v", method, err)
		}
		var m devtools
		if err := json.Unmarshal(text[:len(text)-1], &m); err != nil || m.ID == b.last && m.Error != nil {
			b.Fatalf("%s: %v, %s", method, err, m.Error)
		}
		if m.ID != b.last {
			b.event(&m)
			continue
		}
		if err := json.Unmarshal(m.Result, result); err != nil {
			b.Fatalf("%s: %v", method, err)
		}
		return
	}
}

func (b *browser) event(m *devtools) {
	switch m.Method {
	case "Network.requestWillBeSent":
		var sent struct{ Request struct{ URL string } }
		_ = json.Unmarshal(m.Params, &sent)
		b.requests = append(b.requests, sent.Request.URL)
	case "Runtime.exceptionThrown", "Runtime.consoleAPICalled", "Log.entryAdded":
		b.console = append(b.console, string(m.Params))
	}
}

// evaluate runs an expression in the page, and waits for what it promises.
func (b *browser) evaluate(expression string, value any) {
	b.Helper()
	var got struct {
		Result           struct{ Value json.RawMessage }
		ExceptionDetails json.RawMessage
	}
	b.call("Runtime.evaluate", object{"expression": expression, "awaitPromise": true, "returnByValue": true}, &got)
	if got.ExceptionDetails != nil {
		b.Fatalf("%s: %s", expression, got.ExceptionDetails)
	}
	if err := json.Unmarshal(got.Result.Value, value); err != nil {
		b.Fatalf("%s gives %s: %v", expression, got.Result.Value, err)
	}
}

// text is all that a person reads on the page, and its title.
func (b *browser) text() (text string) {
	b.Helper()
	b.evaluate(`document.title + "\n" + document.body.innerText`, &text)
	return strings.NewReplacer("\u00a0", " ", "\u2212", "-").Replace(text)
}

// reads waits until the page says all of these, and none of what begins with a "!".
func (b *browser) reads(says ...string) {
	b.Helper()
	b.until(func() string {
		text := b.text()
		for _, words := range says {
			unwanted, not := strings.CutPrefix(words, "!")
			if strings.Contains(text, unwanted) == not {
				return "the page should read " + words + ":\n" + text
			}
		}
		return ""
	})
}

// until waits until there is nothing to complain of.
func (b *browser) until(complaint func() string) {
	b.Helper()
	text := complaint()
	for end := time.Now().Add(20 * time.Second); text != "" && time.Now().Before(end); text = complaint() {
		time.Sleep(50 * time.Millisecond)
	}
	if text != "" {
		b.Fatal(text)
	}
}

// open shows the page of a bridge, in a window so many pixels wide.
func (b *browser) open(web string, width int) {
	b.Helper()
	b.resize(width)
	b.call("Page.navigate", object{"url": "http://" + web + "/"}, &object{})
	b.until(func() (state string) {
		b.evaluate(`document.readyState.replace("complete", "")`, &state)
		return state
	})
}

func (b *browser) resize(width int) {
	b.Helper()
	b.call("Emulation.setDeviceMetricsOverride", object{"width": width, "height": 800, "deviceScaleFactor": 1, "mobile": width < 600}, &object{})
}

func (b *browser) scheme(name string) {
	b.Helper()
	b.call("Emulation.setEmulatedMedia", object{"features": []object{{"name": "prefers-color-scheme", "value": name}}}, &object{})
}

// later sets the page's clock forward.
func (b *browser) later(seconds int) {
	b.Helper()
	b.evaluate(fmt.Sprintf("Date.now = ((now) => () => now() + %d)(Date.now)", 1000*seconds), new(object))
}

// picture keeps what the page looks like, for a person: see go help testflag, -artifacts.
func (b *browser) picture(name string) {
	b.Helper()
	var shot struct{ Data string }
	b.call("Page.captureScreenshot", object{"captureBeyondViewport": true}, &shot)
	image, err := base64.StdEncoding.DecodeString(shot.Data)
	if err != nil {
		b.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(b.ArtifactDir(), name+".png"), image, 0o644); err != nil {
		b.Fatal(err)
	}
}
