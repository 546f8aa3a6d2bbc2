/* What no server can do without: one read and one write a request, from one loop over
 * epoll. It understands nothing and answers every request with the same 100 registers:
 *   floor PORT     on 127.0.0.1, until it is killed */
#include <arpa/inet.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/epoll.h>
#include <sys/socket.h>
#include <unistd.h>

int main(int argc, char **argv)
{
    if (argc != 2) return 2;
    struct sockaddr_in here = {.sin_family = AF_INET, .sin_port = htons((uint16_t)atoi(argv[1])), .sin_addr.s_addr = htonl(INADDR_LOOPBACK)};
    int one = 1, listener = socket(AF_INET, SOCK_STREAM, 0), poll = epoll_create1(0);
    setsockopt(listener, SOL_SOCKET, SO_REUSEADDR, &one, sizeof one);
    if (bind(listener, (struct sockaddr *)&here, sizeof here) == -1 || listen(listener, 64) == -1) return 3;
    struct epoll_event event = {.events = EPOLLIN, .data.fd = listener}, ready[64];
    if (epoll_ctl(poll, EPOLL_CTL_ADD, listener, &event) == -1) return 4;
    uint8_t request[260], response[209] = {0, 0, 0, 0, 0, 203, 1, 3, 200};
    for (int i = 0; i < 100; i++) response[9 + 2 * i] = (uint8_t)((400 + i) >> 8), response[10 + 2 * i] = (uint8_t)(400 + i);
    puts("ready");
    fflush(stdout);
    for (;;) {
        int n = epoll_wait(poll, ready, 64, -1);
        for (int i = 0; i < n; i++) {
            int fd = ready[i].data.fd;
            if (fd == listener) {
                event.data.fd = accept(listener, NULL, NULL);
                setsockopt(event.data.fd, IPPROTO_TCP, TCP_NODELAY, &one, sizeof one);
                epoll_ctl(poll, EPOLL_CTL_ADD, event.data.fd, &event);
                continue;
            }
            if (read(fd, request, sizeof request) <= 0) {
                close(fd);
                continue;
            }
            response[0] = request[0], response[1] = request[1];
            if (write(fd, response, sizeof response) != sizeof response) return 5;
        }
    }
}
