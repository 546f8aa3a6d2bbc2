package main

import (
	"slices"
	"strconv"
	"strings"
)

// clean wants nothing in the console, and every request sent to the bridge.
func (b *browser) clean(web string) {
	b.Helper()
	b.text()
	if len(b.console) > 0 {
		b.Errorf("the console says %s", b.console)
	}
	for _, address := range b.requests {
		if !strings.HasPrefix(address, "http://"+web+"/") {
			b.Errorf("the page asks for %s", address)
		}
	}
	if len(b.requests) < 4 {
		b.Errorf("only %q were asked for", b.requests)
	}
}

// legible keeps a picture in each colour scheme, and wants the contrast of every text to be 4.5
// at least: Web Content Accessibility Guidelines 2.2, success criterion 1.4.3 and "relative
// luminance".
func (b *browser) legible(name string) {
	b.Helper()
	for _, scheme := range []string{"dark", "light"} {
		b.scheme(scheme)
		b.picture(name + "-" + scheme)
		var faint []string
		b.evaluate(readFaint, &faint)
		if len(faint) > 0 {
			b.Errorf("%s, %s: too faint: %q", name, scheme, faint)
		}
	}
}

const readFaint = `(() => {
	const linear = (c) => c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4;
	const channels = (color) => color.match(/[\d.]+/g).map(Number);
	const luminance = (color) => { const [r, g, b] = channels(color).map((c) => linear(c / 255)); return 0.2126 * r + 0.7152 * g + 0.0722 * b; };
	const behind = (e) => { const color = getComputedStyle(e).backgroundColor; return channels(color)[3] === 0 ? behind(e.parentElement) : color; };
	return [...document.body.querySelectorAll("*")].filter((e) => [...e.childNodes].some((n) => n.nodeName === "#text" && n.data.trim()) && e.checkVisibility()).flatMap((e) => {
		const [low, high] = [getComputedStyle(e).color, behind(e)].map(luminance).sort((a, b) => a - b);
		const contrast = (high + 0.05) / (low + 0.05);
		return contrast < 4.5 ? [e.innerText + ": " + contrast] : [];
	});
})()`

// fits wants nothing to reach beyond the window's width, nor beyond its own box.
func (b *browser) fits(width int) {
	b.Helper()
	var beyond []string
	b.evaluate(`[...document.querySelectorAll("*")].filter((e) => e.getBoundingClientRect().right > `+strconv.Itoa(width)+` || e.scrollWidth > e.clientWidth + 1 && e.clientWidth).map((e) => e.outerHTML)`, &beyond)
	if len(beyond) > 0 {
		b.Errorf("too wide for %d pixels: %q", width, beyond)
	}
}

// keyboard goes through all links with the tab key, and wants to see where it is.
func (b *browser) keyboard() {
	b.Helper()
	for _, link := range []string{"v1/bank", "v1/packs", "metrics", "healthz"} {
		for _, kind := range []string{"rawKeyDown", "keyUp"} {
			b.call("Input.dispatchKeyEvent", object{"type": kind, "key": "Tab", "code": "Tab", "windowsVirtualKeyCode": 9}, &object{})
		}
		var focus []string
		b.evaluate(`[document.activeElement.getAttribute("href"), getComputedStyle(document.activeElement).outlineStyle]`, &focus)
		if !slices.Equal(focus, []string{link, "solid"}) {
			b.Errorf("the focus is %q, and should be %s, with a line around it", focus, link)
		}
	}
}
