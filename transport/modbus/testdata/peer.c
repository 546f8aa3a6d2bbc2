/* A Modbus/TCP server made with libmodbus, as a peer that is not of this project:
 *   peer PORT     on 127.0.0.1, until it is killed
 * It serves many connections from one loop over select, as the library's manual shows
 * for several clients. Holding registers 400 to 524 hold their address. */
#include <modbus.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/select.h>
#include <sys/socket.h>
#include <unistd.h>

int main(int argc, char **argv)
{
    if (argc != 2) return 2;
    modbus_t *ctx = modbus_new_tcp("127.0.0.1", atoi(argv[1]));
    modbus_mapping_t *map = modbus_mapping_new_start_address(0, 0, 0, 0, 400, 125, 0, 0);
    if (ctx == NULL || map == NULL) return 3;
    for (int i = 0; i < 125; i++) map->tab_registers[i] = 400 + i;
    int listener = modbus_tcp_listen(ctx, 64), highest = listener;
    if (listener == -1) return 4;
    fd_set all;
    FD_ZERO(&all);
    FD_SET(listener, &all);
    puts("ready");
    fflush(stdout);
    for (;;) {
        fd_set ready = all;
        if (select(highest + 1, &ready, NULL, NULL, NULL) == -1) return 5;
        for (int fd = 0; fd <= highest; fd++) {
            if (!FD_ISSET(fd, &ready)) continue;
            if (fd == listener) {
                int conn = modbus_tcp_accept(ctx, &listener);
                if (conn == -1) return 6;
                FD_SET(conn, &all);
                if (conn > highest) highest = conn;
                continue;
            }
            uint8_t query[MODBUS_TCP_MAX_ADU_LENGTH];
            modbus_set_socket(ctx, fd);
            int n = modbus_receive(ctx, query);
            if (n > 0) modbus_reply(ctx, query, n, map);
            if (n == -1) {
                close(fd);
                FD_CLR(fd, &all);
            }
        }
    }
}
