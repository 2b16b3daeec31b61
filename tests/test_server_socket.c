/* SPDX-License-Identifier: MIT */
/* The socket of the server: its mode, who else has it, one that was left, one that was inherited. */
#include "tests/server_fixture.h"

#include <signal.h>
#include <sys/wait.h>

static void test_mode(void **state)
{
	struct fixture *f = *state;
	static const mode_t masks[] = { 0, 022, 077, 0777 };
	server_down(f);
	for (size_t i = 0; i < sizeof masks / sizeof masks[0]; i++) {
		struct fault why;
		struct stat st;
		mode_t before = umask(masks[i]);
		f->server = server_up(f, f->socket, &why);
		assert_int_equal(umask(before), masks[i]); /* put back */
		assert_non_null(f->server);
		assert_int_equal(stat(f->socket, &st), 0);
		assert_int_equal(st.st_mode & 07777, 0660);
		server_down(f);
		assert_int_equal(access(f->socket, F_OK), -1);
	}
}

static void test_two_servers(void **state)
{
	struct fixture *f = *state;
	struct fault why;
	char holder[64];
	assert_null(server_up(f, f->socket, &why));
	snprintf(holder, sizeof holder, "is held by process %d (", getpid());
	assert_non_null(strstr(why.text, f->socket));
	assert_non_null(strstr(why.text, holder));
	/* The first one still answers, on the same file. */
	struct peer *p = peer_greeted(f);
	peer_free(p);
}

static void test_stale_socket(void **state)
{
	struct fixture *f = *state;
	struct fault why;
	server_down(f);
	/* What a kill leaves behind: a file that nobody listens on. */
	struct sockaddr_un a = { .sun_family = AF_UNIX };
	snprintf(a.sun_path, sizeof a.sun_path, "%s", f->socket);
	int fd = socket(AF_UNIX, SOCK_STREAM, 0);
	assert_int_equal(bind(fd, (struct sockaddr *)&a, sizeof a), 0);
	close(fd);
	f->server = server_up(f, f->socket, &why);
	if (!f->server)
		fail_msg("%s", why.text);
	struct peer *p = peer_greeted(f);
	peer_free(p);
}

static void test_path_faults(void **state)
{
	struct fixture *f = *state;
	struct fault why;
	char path[300];
	/* A file that is no socket is somebody's, and stays. */
	snprintf(path, sizeof path, "%s/file", f->dir);
	close(open(path, O_CREAT | O_WRONLY, 0600));
	assert_null(server_up(f, path, &why));
	assert_non_null(strstr(why.text, "is there and is no socket"));
	assert_int_equal(access(path, F_OK), 0);
	snprintf(path, sizeof path, "%s/link", f->dir);
	assert_int_equal(symlink(f->socket, path), 0);
	assert_null(server_up(f, path, &why));
	assert_non_null(strstr(why.text, "is there and is no socket"));
	snprintf(path, sizeof path, "%s/none/tally.sock", f->dir);
	assert_null(server_up(f, path, &why));
	assert_non_null(strstr(why.text, "/none of the socket: No such file"));
	memset(path, 'x', sizeof path);
	path[108] = '\0';
	assert_null(server_up(f, path, &why));
	assert_non_null(strstr(why.text, "1 to 107 bytes, this one 108"));
	assert_null(server_up(f, "", &why));
}

/* A daemon that ends removes its own socket, not that of the one that came after. */
static void test_successor(void **state)
{
	struct fixture *f = *state;
	struct fault why;
	struct server *first = f->server;
	assert_int_equal(unlink(f->socket), 0);
	f->server = server_up(f, f->socket, &why);
	assert_non_null(f->server);
	struct server *second = f->server;
	f->server = first;
	server_down(f);
	f->server = second;
	struct peer *p = peer_greeted(f);
	peer_free(p);
}

/* The last answers go out before the end; who does not read cannot hold it up. */
static void test_close(void **state)
{
	struct fixture *f = *state;
	struct peer *p = peer_greeted(f), *idle = peer_greeted(f), *deaf = peer_greeted(f);
	mustsend(p, CALL("1", "take", "{}"));
	for (int i = 0; i < 20; i++)
		mustsend(deaf, CALL("1", "big", "{}"));
	turn(f);
	uint64_t began = now_ms();
	server_close(f->server, on_closed, f);
	assert_int_equal(access(f->socket, F_OK), -1);
	ckend(idle);
	server_answer(f->pending[0], "{\"seq\":2}");
	ckresp(p, RESULT("1", "{\"seq\":2}"));
	ckend(p);
	while (!f->closed && now_ms() < began + WAIT_MS)
		uv_run(&f->loop, UV_RUN_ONCE);
	assert_true(f->closed);
	assert_in_range(now_ms() - began, 900, 1900);
	f->server = NULL;
	peer_free(p);
	peer_free(idle);
	peer_free(deaf);
}

/* A call whose answer never comes does not hold the end up either; and when it
 * comes after all, it meets nobody. */
static void test_close_before_answer(void **state)
{
	struct fixture *f = *state;
	struct peer *p = peer_greeted(f);
	mustsend(p, CALL("1", "take", "{}"));
	turn(f);
	server_down(f);
	ckend(p);
	server_answer(f->pending[0], "{}");
	peer_free(p);
}

/* Connect while one daemon ends and the next begins, on a socket that a service
 * manager holds: nobody is refused. */
static void test_inherited(void **state)
{
	struct fixture *f = *state;
	struct sockaddr_un a = { .sun_family = AF_UNIX };
	server_down(f);
	snprintf(a.sun_path, sizeof a.sun_path, "%s", f->socket);
	int fd = socket(AF_UNIX, SOCK_STREAM, 0);
	assert_int_equal(bind(fd, (struct sockaddr *)&a, sizeof a), 0);
	assert_int_equal(listen(fd, 16), 0);
	struct peer *early = peer_new(f); /* nobody accepts yet */
	fflush(NULL);
	pid_t pid = fork();
	if (pid == 0) {
		/* A fresh process image is not needed: only descriptor 3 and the environment. */
		char number[24];
		struct fault why;
		uv_loop_t loop;
		int end[2];
		dup2(fd, 3);
		snprintf(number, sizeof number, "%ld", (long)getpid());
		setenv("LISTEN_PID", number, 1);
		setenv("LISTEN_FDS", "1", 1);
		uv_loop_init(&loop);
		struct server_options options = { .path = "/nonexistent/x", .log_path = f->log_path,
			                              .bench = "north", .version = "1" };
		struct server *s = server_open(&loop, &options, &why);
		if (!s || getenv("LISTEN_FDS") || pipe(end))
			_exit(1);
		alarm(20);
		for (;;)
			uv_run(&loop, UV_RUN_ONCE);
	}
	close(fd);
	mustsend(early, HELLO);
	ckhas(early, "\"result\":{\"protocol\":1,");
	kill(pid, SIGKILL);
	waitpid(pid, NULL, 0);
	peer_free(early);
	unlink(f->socket);
}

#define TEST(name) cmocka_unit_test_setup_teardown(test_##name, fixture_up, fixture_down)

int main(void)
{
	const struct CMUnitTest tests[] = {
		TEST(mode),
		TEST(two_servers),
		TEST(stale_socket),
		TEST(path_faults),
		TEST(successor),
		TEST(close),
		TEST(close_before_answer),
		TEST(inherited),
	};
	return cmocka_run_group_tests_name("server socket", tests, NULL, NULL);
}
