/* A Modbus server made with libmodbus, as a peer that is not of this project:
 *   peer rtu PATH BAUD UNIT     on a serial port
 *   peer tcp PORT UNIT          on 127.0.0.1
 * Holding registers 0 to 72 hold 0x4000 plus their address, and input registers 100 to
 * 109 too; all others are refused. */
#include <errno.h>
#include <modbus.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

int main(int argc, char **argv)
{
    int rtu = argc > 1 && strcmp(argv[1], "rtu") == 0;
    if (argc != (rtu ? 5 : 4)) return 2;
    modbus_t *ctx = rtu ? modbus_new_rtu(argv[2], atoi(argv[3]), 'N', 8, 1) : modbus_new_tcp("127.0.0.1", atoi(argv[2]));
    if (ctx == NULL) return 3;
    modbus_set_slave(ctx, atoi(argv[argc - 1]));
    modbus_mapping_t *map = modbus_mapping_new_start_address(0, 0, 0, 0, 0, 73, 100, 10);
    for (int i = 0; i < 73; i++) map->tab_registers[i] = 0x4000 + i;
    for (int i = 0; i < 10; i++) map->tab_input_registers[i] = 0x4064 + i;
    int listener = rtu ? -1 : modbus_tcp_listen(ctx, 1);
    if (rtu && modbus_connect(ctx) == -1) return 4;
    puts("ready");
    fflush(stdout);
    for (;;) {
        if (!rtu && modbus_tcp_accept(ctx, &listener) == -1) return 5;
        for (;;) {
            uint8_t query[MODBUS_TCP_MAX_ADU_LENGTH];
            int n = modbus_receive(ctx, query);
            if (n > 0) modbus_reply(ctx, query, n, map);
            if (n <= 0 && rtu) modbus_flush(ctx); /* what it took for another unit's answer */
            if (n == -1 && (!rtu || errno == EBADF || errno == EIO)) break;
        }
        if (rtu) return 0;
        modbus_close(ctx);
    }
}
