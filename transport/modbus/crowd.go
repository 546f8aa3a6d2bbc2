package modbus

import "sync"

// crowd is the clients of one listener.
type crowd struct {
	mu      sync.Mutex
	clients map[*client]struct{}
	running sync.WaitGroup
}

func newCrowd() *crowd {
	return &crowd{clients: make(map[*client]struct{})}
}

// admit adds a client, and tells whether another had to give way.
func (c *crowd) admit(newcomer *client) (crowded bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if len(c.clients) >= MaxConnections {
		silent := c.longestSilent()
		delete(c.clients, silent)
		silent.dismiss()
		crowded = true
	}
	c.clients[newcomer] = struct{}{}
	return crowded
}

// longestSilent is the client to give way to another.
func (c *crowd) longestSilent() *client {
	var silent *client
	for one := range c.clients {
		if silent == nil || one.silentLongerThan(silent) {
			silent = one
		}
	}
	return silent
}

// leave removes a client whose conversation has ended, and closes it.
func (c *crowd) leave(one *client) {
	c.mu.Lock()
	defer c.mu.Unlock()
	delete(c.clients, one)
	one.wire.Close()
}

// disperse closes every connection, and waits until the last has ended.
func (c *crowd) disperse() {
	c.mu.Lock()
	for one := range c.clients {
		one.dismiss()
	}
	c.mu.Unlock()
	c.running.Wait()
}
