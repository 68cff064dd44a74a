#include "bench/rigs/ports.h"

#include <gtest/gtest.h>

#include <fcntl.h>
#include <signal.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include "bench/rigs/rig.h"
#include "tests/bench/scratch_folder.h"

namespace tachproof {
namespace {

namespace fs = std::filesystem;

TEST(Ports, HaveTheNameThatStaysWhereThereIsOne) {
  const ScratchFolder scratch;
  fs::create_directory(scratch / "by-id");
  scratch.write("ttyUSB0", "");
  scratch.write("ttyUSB1", "");
  fs::create_symlink("../ttyUSB1", scratch / "by-id" / "usb-board-if00");
  fs::create_symlink("../gone", scratch / "by-id" / "usb-another-if00");
  EXPECT_EQ(stable_name(scratch / "ttyUSB1", scratch / "by-id"), scratch / "by-id" / "usb-board-if00");
  EXPECT_EQ(stable_name(scratch / "ttyUSB0", scratch / "by-id"), scratch / "ttyUSB0");
  EXPECT_EQ(stable_name(scratch / "ttyUSB0", scratch / "no-such-folder"), scratch / "ttyUSB0");
}

TEST(Ports, SayWhichGroupMayOpenThem) {
  if (geteuid() != 0) GTEST_SKIP() << "needs a file of somebody else's";
  const ScratchFolder scratch;
  const std::string port = scratch.write("port", "");
  chmod(fs::path(port).parent_path().c_str(), 0755);
  const auto why_for_others = [&] {
    EXPECT_EQ(why_closed(port), "");
    EXPECT_EQ(seteuid(65534), 0);
    const std::string why = why_closed(port);
    EXPECT_EQ(seteuid(0), 0);
    return why;
  };
  ASSERT_EQ(chown(port.c_str(), 0, 5), 0);  // tty, as Debian has it
  chmod(port.c_str(), 0660);
  EXPECT_EQ(why_for_others(),
            "no permission; it belongs to the group tty: `sudo usermod -aG tty $USER`, then log in again");
  // To be in the group of a device that its group may not open helps nobody.
  const std::string only_root =
      "no permission; only root may open it: let an administrator give it to a group by a udev rule "
      "(bench/INSTALLING.md has one)";
  chmod(port.c_str(), 0600);
  EXPECT_EQ(why_for_others(), only_root);
  ASSERT_EQ(chown(port.c_str(), 0, 0), 0);  // nobody is to be in root's group
  EXPECT_EQ(why_for_others(), only_root);
}

TEST(Ports, SayWhoHasThemOpen) {
  const ScratchFolder scratch;
  const std::string port = scratch.write("port", "");
  const pid_t holder = fork();
  if (holder == 0) {
    [[maybe_unused]] const int fd = open(port.c_str(), O_RDONLY);
    pause();
    _exit(0);
  }
  while (why_closed(port).empty()) usleep(1000);
  const std::string why = why_closed(port);
  kill(holder, SIGKILL);
  waitpid(holder, nullptr, 0);
  EXPECT_EQ(why.substr(why.find(" (")), " (process " + std::to_string(holder) + ") is using it");
  EXPECT_EQ(why_closed(port), "");
}

TEST(Ports, ThatAreGoneCannotBeOpened) {
  EXPECT_EQ(why_closed("/dev/no-such-port"), "No such file or directory");
}

// Whatever is plugged into the machine that runs this.
TEST(Ports, PresentAreListedOnceEach) {
  const std::vector<PortFound> ports = ports_present();
  for (std::size_t i = 0; i < ports.size(); ++i) {
    EXPECT_TRUE(fs::exists(ports[i].device)) << ports[i].device;
    EXPECT_EQ(fs::canonical(ports[i].name), fs::canonical(ports[i].device));
    if (i > 0) {
      EXPECT_LT(ports[i - 1].device, ports[i].device);
    }
  }
}

}  // namespace
}  // namespace tachproof
